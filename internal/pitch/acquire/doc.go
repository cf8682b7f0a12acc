// Package acquire finds what may sound: the level of the input and its onsets ([Levels]), candidates for the pitch of
// a window ([Guesser], the same for a recording as for a live note), and which of them is a note ([Search]).
//
// A candidate is a [stringfit.Start]; package accept judges the fit that it leads to.
package acquire
