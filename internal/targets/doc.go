// Package targets says what should sound: it turns a tuning and an instrument into pitches in
// hertz and finds the one that a measured pitch is meant to be.
//
// An Interval is exact as long as it is built from ratios and equal divisions; a Tuning is a
// repeating set of intervals, anchored in hertz by a Reference; an Instrument is a set of
// strings and frets in a tuning; a Resolver matches measured pitches with notes or strings.
// Start with ParseTuning or LoadInstrument and hand the result to NewResolver; to choose a tuning,
// start with ParseChords and CompareTunings or RankDivisions.
//
// Units: frequencies in Hz, interval sizes in cents, lengths in mm where the name ends in MM.
// cents = 1200·log2(measured/target); positive is sharp. Step numbers count notes of the tuning
// from its reference note, which is step 0.
//
// Everything but a Resolver is read-only after it is made and may be shared by goroutines.
package targets
