// Package setup checks the intonation of a fretted instrument: it turns the pitches of open
// strings, natural harmonics and fretted notes into how far nut and saddle should be moved, with
// standard errors, and into which fret stands off its place.
//
// Start with [NewBoard], which takes what is needed from an instrument, and [MakePlan], which
// chooses the notes. A [Check] then leads through them, one [Prompt] after another, whoever asks:
// a terminal, a page, a folder of recordings. [Check.Fit] gives the [Result]; [Compare] sets two
// results side by side. The report package below this one writes them out.
//
// Units: lengths in mm, frequencies in Hz, deviations in cents (positive is sharp). A fret ratio r
// is that of the wanted pitch to the open string's, above 1. Every ± is one standard error.
//
// # What can be known
//
// Pitches alone tell lengths only as the string feels them. The fitted places of nut and saddle
// hold everything that acts like a shift of theirs: where they really are, the stiffness of the
// string at its ends, and most of what pressing does. For the move that puts the notes right the
// cause does not matter, but for a small doubt that [Moves] states.
//
// What pressing does: a string pressed at x by the height h(x) = h0 + a·x is stretched by
// h²/2·(1/x + 1/(L−x)). With x = L·(r−1)/r the sharpness is, but for a factor E·A/T,
//
//	(a²/2)·(r−1)  +  (h0·a/L)·(1 + (r−1))  +  (h0²/2L²)·((r−1) + 2 + 1/(r−1))
//
// Of its three shapes, 1 is the shape of a nut move and r−1 that of a saddle move: no reading of
// pitch can tell them apart, and none needs to, as the move cures both. Only 1/(r−1), the height h0
// of the nut above the plane of the frets, is a shape of its own. It shows at the lowest frets,
// where a fret off its place shows too; but a fret does the same to all strings, and the height
// does more to a string of larger E·A/T, the ratio of stretch to tension that its gauge and core
// tell. So the height is a term of the fit, common to all strings and a little different for each,
// and it is told before a fret is: a nut that is too high is lowered first (common practice, no
// source). Relief of the neck, which bends the frets away from the string, and where the finger
// presses are terms with priors of the usual size.
package setup
