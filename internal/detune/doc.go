// Package detune moves open strings so that chosen chords become pure, and says what that costs
// other chords.
//
// A Chord is a shape on the fretboard with the ratios that its notes should stand in. Solve takes
// one or more of them with weights, an anchor string and limits, and returns a Plan: by how many
// cents each open string is moved. Report tells every pair of notes of a chord before and after,
// Explore the trade-off between the chosen chords and the rest. A plan is kept in a file by Save
// and LoadPlan, and Detuned applies it to the instrument.
//
// The interval of note i in chord j above 1 Hz is o_i + F_ij + x_i, of open string, fret and move;
// it should be t_j + R_ij, with a root t_j that is free. Moves and errors are in cents, positive is
// sharp or wide, pitches in Hz, beats in 1/s, tension in N. Pitch is that of partial 1. Fretting is
// taken as ideal: no stretch from pressing.
package detune
