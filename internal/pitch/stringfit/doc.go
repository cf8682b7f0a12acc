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
//	joint.go      blocks → amplitudes, decays and frequencies of all partials, bound to f1 and B, step by step; its parts:
//	  model.go              the string as it is believed to be, and how far a step may go
//	  basis.go, leakage.go  partials as functions of time; what they leave, and leak into each other's blocks
//	  equations.go          the normal equations of the free deviations
//	  overlap.go, separate.go, bound.go  a step where partials overlap, lie far apart, or priors must hold it
//	  law.go                f1 and B from the deviations, with the scatter that the partials really show
//	window.go, read.go      a fitted window, and what is read from it → Result
//	residuals.go  what the phases still lead the model by
//	path.go, glide.go       how the pitch moved, from those: a drift; a glide or a steady pitch
//	movement.go   what callers ask of that
//	fitter.go     one window: fit, look at the residuals, fit again along the trajectory; resume.go: from the last fit
//	course.go     from a first guess (climb.go, stiffness.go) to a long window
//	frames.go, phases.go    many short ones where the pitch swings; one partial where no law fits
package stringfit
