package text

import (
	"encoding/csv"
	"io"
	"strconv"
)

// csvHeader names the columns after the fields of the JSON lines.
var csvHeader = []string{
	"file", "channel", "start_s", "end_s",
	"f1_hz", "f1_sigma_cents", "attack_f1_hz", "partial1_hz", "inharmonicity", "snr_db",
	"target_label", "target_hz", "target_step", "target_string", "target_fret",
	"cents", "cents_sigma", "beat_hz", "state",
}

// NewNoteCSV returns a writer of notes as comma-separated values (RFC 4180, but lines end with a
// line feed alone) with a header before the first note. Numbers have full precision; what is not
// known is empty. Partials are not written.
func NewNoteCSV(w io.Writer) NoteWriter { return &noteCSV{w: csv.NewWriter(w)} }

type noteCSV struct {
	w     *csv.Writer
	begun bool
}

func (c *noteCSV) Flush() error {
	c.w.Flush()
	return c.w.Error()
}

func (c *noteCSV) WriteNote(n *Note) error {
	if !c.begun {
		c.begun = true
		if err := c.w.Write(csvHeader); err != nil {
			return err
		}
	}
	row := []string{
		n.File, strconv.Itoa(n.Channel), plain(n.StartS), plain(n.EndS),
		plain(n.F1Hz), plain(n.F1SigmaCents), plain(float64(positive(n.AttackF1Hz))),
		plain(float64(positive(n.Partial1Hz))), plain(n.Inharmonicity), plain(n.SNRdB),
	}
	if err := c.w.Write(append(row, targetColumns(n)...)); err != nil {
		return err
	}
	return c.Flush()
}

func targetColumns(n *Note) []string {
	t := n.Target
	if t == nil {
		return make([]string, len(csvHeader)-10)
	}
	str := ""
	if t.String > 0 {
		str = strconv.Itoa(t.String)
	}
	return []string{
		t.Label, plain(t.Hz), strconv.Itoa(t.Step), str, strconv.Itoa(t.Fret),
		plain(n.Cents), plain(n.CentsSigma), plain(n.BeatHz), n.State,
	}
}

// plain writes a number with full precision, or nothing if it is not known.
func plain(x float64) string {
	if !finite(x) {
		return ""
	}
	return strconv.FormatFloat(noSign(x), 'g', -1, 64)
}
