package targets

// OfNotes returns an instrument whose open strings are the notes, in their order: a chord, looked
// at as if each note had a string of its own. The notes stay as they are in another tuning or at
// another reference.
func OfNotes(name string, t *Tuning, notes []Target) (*Instrument, error) {
	in := &Instrument{ID: name, Name: name, Tuning: t, built: t}
	for i, n := range notes {
		n.Fret = 0
		in.Strings = append(in.Strings, InstrumentString{pitch: openPitch{kind: byTarget, target: n}, course: i})
	}
	return in, in.placeStrings()
}
