// Package ensemble reads several strings that sound at once: the frequency of partial 1 of each,
// in hertz with its standard uncertainty in cents, from one stretch of sound and the pitches that
// the strings ought to have. A string may be up to 60 cents off its target; one that does not
// sound is reported as silent.
//
// Strings of a chord share frequencies: partial 3 of one lies on partial 2 of another, exactly so
// when the chord is just. So all partials of all strings are fitted together. The spectrum is
// searched for each string first, then those partials that stand alone are fitted, then, with
// every string's frequency and inharmonicity known better, all of them (see [Reader]).
//
// Times are in seconds, decay rates in 1/s, levels in dB re full scale, B is the inharmonicity of
// f_k = k·f0·√(1+B·k²). Start with [NewReader] for a stretch of sound that is at hand, with
// [NewTracker] for a stream. Which string is meant to have which pitch is left to others.
package ensemble
