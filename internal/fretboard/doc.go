// Package fretboard says where notes lie on an instrument: it turns strings with scale lengths
// and frets into places in millimetres, and pitches back into strings and frets.
//
// Start with New, which lays out the board of a targets.Instrument. A Board then tells its fret
// slots (Strings, Lines), where an interval above a note lies (Where, OnOneString), which shapes
// of a chord a hand can reach (Shapes) and where natural harmonics are touched (Harmonics).
// Check finds what is wrong with an instrument before wood is cut.
//
// Units: lengths in mm, intervals and errors in cents, pitches in Hz. Distances "from the nut" are measured on the string itself. Distances "along the neck" are measured from
// the nut that stands farthest out, and differ from the former only where strings differ in
// scale length. "Across" is measured from the middle of the neck; string 1 is on the negative
// side. cents = 1200·log2(sounding/wanted); positive is sharp.
//
// Frets are placed for the ideal string: no stretch from pressing, no stiffness. What these do is
// the business of the saddle, not of the slots.
package fretboard
