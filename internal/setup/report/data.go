package report

import (
	"encoding/json"
	"io"

	"tunerd/internal/display/text"
	"tunerd/internal/setup"
)

// WriteCSV writes a row for every pluck, with what the fit makes of its note.
func (r *Report) WriteCSV(w io.Writer) error {
	l := &text.Listing{Type: "pluck"}
	for _, name := range []string{"string", "fret", "harmonic", "label", "target_hz", "f1_hz", "f1_sigma_cents", "cents", "inharmonicity", "inharmonicity_sigma", "snr_db", "source", "start_s", "note_cents", "note_sigma_cents", "fit_cents", "residual_cents", "residual_mm", "after_cents", "left_out"} {
		l.Columns = append(l.Columns, text.Column{Name: name, Title: name})
	}
	board := &r.Check.Board
	next := r.noteResults()
	for _, e := range r.Check.Entries {
		if len(e.Plucks) == 0 || e.State == setup.Skipped {
			continue
		}
		n := next()
		for _, p := range e.Plucks {
			hz := board.Hz(e.Note)
			row := []any{e.String, e.Fret, any(nil), board.Label(e.Note), hz, p.F1Hz, p.SigmaCents, setup.Cents(p.F1Hz, hz), p.B, p.BSigma, p.SNRdB, p.Source, p.AtS, n.Cents, n.Sigma, n.FitCents, n.Residual, any(nil), n.AfterCents, n.LeftOut}
			if e.Harmonic > 0 {
				row[2] = e.Harmonic
			}
			if e.Fret > 0 {
				row[17] = n.ResidualMM
			}
			l.Rows = append(l.Rows, row)
		}
	}
	return l.WriteCSV(w)
}

// noteResults gives the results of the entries that have plucks, in the order of the entries. The
// fit keeps that order within each string.
func (r *Report) noteResults() func() setup.NoteResult {
	at := map[int]int{}
	entries := 0
	return func() setup.NoteResult {
		for {
			e := r.Check.Entries[entries]
			entries++
			if len(e.Plucks) == 0 || e.State == setup.Skipped {
				continue
			}
			for _, s := range r.Result.Strings {
				if s.Number == e.String {
					at[e.String]++
					return s.Notes[at[e.String]-1]
				}
			}
			return setup.NoteResult{}
		}
	}
}

// A document is the JSON of a report.
type document struct {
	Type     string             `json:"type"` // "intonation"
	Check    *setup.Check       `json:"check"`
	Result   *setup.Result      `json:"result"`
	Slips    []setup.Slip       `json:"slips"`
	Words    map[string]any     `json:"words"`
	Compared []setup.Comparison `json:"compared,omitempty"`
}

// WriteJSON writes everything as one JSON object.
func (r *Report) WriteJSON(w io.Writer) error {
	strings := map[string]string{}
	for _, f := range r.Strings() {
		strings[f.Name] = f.Text
	}
	doc := document{
		Type: "intonation", Check: r.Check, Result: r.Result, Slips: r.Check.Slips(),
		Words: map[string]any{"strings": strings, "frets": r.Frets(), "together": r.Together(), "doubts": r.Doubts(), "cautions": r.Cautions()},
	}
	if r.BeforeResult != nil {
		doc.Compared = setup.Compare(r.BeforeResult, r.Result)
	}
	return json.NewEncoder(w).Encode(doc)
}
