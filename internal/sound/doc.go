// Package sound synthesises sounds whose pitch is known exactly, plucked stiff strings first of
// all, and writes them as WAV.
//
// A string is the sum of partials at
//
//	f_k = k·f1·√((1+B·k²)/(1+B))
//
// so that partial 1 sounds at f1 itself; B is Fletcher's inharmonicity (H. Fletcher, J. Acoust.
// Soc. Am. 36, 1964). Amplitudes are linear with full scale at 1, times in seconds after the
// pluck, phases in radians of a cosine. All randomness comes from the generator that is passed
// in, so one seed gives one sound.
//
// Start with [String], change what differs, and call [StringSpec.Render] for one window with its
// ground truth or [StringSpec.Voice] for a stream. Playing the sound is left to others.
package sound
