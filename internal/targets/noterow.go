package targets

// DefaultOddLimit is that of the nearest simple ratio where none is asked for.
const DefaultOddLimit = 15

// A NoteRow is a note with the simple ratio that it stands for.
type NoteRow struct {
	Note
	Cents    float64  `json:"cents"`     // above the reference note
	Ratio    Interval `json:"ratio"`     // the nearest ratio within an odd limit, as NearestRatio finds it
	OffCents float64  `json:"off_cents"` // the note's distance from it; positive is wide
	BeatHz   float64  `json:"beat_hz"`   // of the note against the reference note, by BeatRate of Ratio
}

// Rows returns the notes of steps from up to to with the ratios nearest to them.
func (t *Tuning) Rows(from, to, oddLimit int) []NoteRow {
	var rows []NoteRow
	for step := from; step <= to; step++ {
		row := NoteRow{Note: t.Note(step)}
		row.Cents = row.Interval.Cents()
		row.Ratio, row.OffCents = NearestRatio(row.Cents, oddLimit)
		row.BeatHz, _ = BeatRateOf(row.Ratio, t.zeroHz, row.Hz)
		rows = append(rows, row)
	}
	return rows
}

// ReferenceNote returns the note that the steps are counted from.
func (t *Tuning) ReferenceNote() Target { return Target{Label: t.zeroLabel, Hz: t.zeroHz} }
