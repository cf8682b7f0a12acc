// Package stringfit fits one stiff string to a window of samples, and says how well that is known. It is the floor
// on which all of package pitch stands: it knows nothing of notes, onsets or states.
//
// In: samples, demodulated by a [Bank] at the partials of a string, and a [Start], what is believed of the string
// before. Out: a [Result], with f1, B and every partial, and how the pitch moved.
//
// The way through it, file by file:
//
//	bank.go       samples → sub-blocks, one complex value a partial
//	series.go     sub-blocks of a window → some tens of blocks, looked at along a trajectory of the pitch
//	joint.go      blocks → amplitudes, decays and frequencies of all partials, bound to f1 and B, step by step
//	  normal.go, solve.go   the step where partials overlap
//	  separate.go           the step where they lie far apart
//	  bound.go              the step in a window of two periods, held by priors
//	scatter.go    the final fit of f1 and B, with the scatter that the partials really show
//	residuals.go  what the phases still lead the model by
//	glide.go      glide or steady pitch, from those
//	fitter.go     one window: fit, look at the residuals, fit again along the trajectory
//	course.go     from a first guess to a long window, or many short ones where the pitch swings
//	read.go       what was found → Result
package stringfit
