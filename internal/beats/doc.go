// Package beats tells the beats of sounding notes: from their pitches where partials nearly
// coincide and how fast they beat, from a recording how fast two strings really beat, and which
// difference tones distortion adds to a chord.
//
// A [Tone] is a note with its inharmonicity; frequencies are in Hz, intervals in cents. The first
// of two notes is the lower one, and a rate has a sign: positive where the interval is wide of the
// one at which the beats stop.
//
// Start with [Coincidences] for two pitches, [Combinations] for a chord and [NewMeter] for sound.
// What the notes are called and which of them belong to a tuning is left to others.
package beats
