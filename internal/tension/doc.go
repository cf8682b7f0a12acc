// Package tension says what pulls at a string: its tension, how near that is to breaking it, and
// how inharmonic it sounds for it.
//
// Start with Of, which takes a string of an instrument and the pitch that it is tuned to, the
// wanted one or one measured. A Change sets what a string bears now beside what it will bear, and
// Cautions puts that into words before anybody turns a peg.
//
// Units: N, MPa, kg/m, Hz; the package's own lengths are in m, those of an instrument in mm. What
// is not known is NaN. Strings are taken as ideally flexible where their tension is computed; the
// error is stated there.
package tension
