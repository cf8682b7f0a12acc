package text

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"
)

// csvHeader names the columns after the fields of the JSON lines.
var csvHeader = []string{
	"file", "channel", "start_s", "end_s",
	"f1_hz", "f1_sigma_cents", "attack_f1_hz", "partial1_hz", "inharmonicity", "snr_db",
	"target_label", "target_hz", "target_step", "target_string", "target_fret",
	"cents", "cents_sigma", "beat_hz", "state",
}

// partialColumns follow if partials are wanted. Each holds a list, parted by spaces as in every Listing.
var partialColumns = []string{"partial_numbers", "partial_hz", "partial_off_cents", "partial_sigma_cents", "partial_level_db"}

// NewNoteCSV returns a writer of notes as comma-separated values (RFC 4180, but lines end with a
// line feed alone) with a header before the first note, and with columns for partials if they are
// wanted. Numbers have full precision; what is not known is empty.
func NewNoteCSV(w io.Writer, partials bool) NoteWriter {
	return &noteCSV{w: csv.NewWriter(w), partials: partials}
}

type noteCSV struct {
	w        *csv.Writer
	partials bool
	begun    bool
}

func (c *noteCSV) Flush() error {
	c.w.Flush()
	return c.w.Error()
}

func (c *noteCSV) WriteNote(n *Note) error {
	if !c.begun {
		c.begun = true
		header := csvHeader
		if c.partials {
			header = slices.Concat(csvHeader, partialColumns)
		}
		if err := c.w.Write(header); err != nil {
			return err
		}
	}
	row := []string{
		n.File, strconv.Itoa(n.Channel), plain(n.StartS), plain(n.EndS),
		plain(n.F1Hz), plain(n.F1SigmaCents), plain(float64(positive(n.AttackF1Hz))),
		plain(float64(positive(n.Partial1Hz))), plain(n.Inharmonicity), plain(n.SNRdB),
	}
	row = append(row, targetColumns(n)...)
	if c.partials {
		row = append(row, partialCells(n.Partials)...)
	}
	if err := c.w.Write(row); err != nil {
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

// partialCells fills the partialColumns.
func partialCells(partials []Partial) []string {
	list := func(number func(p *Partial) string) string {
		all := make([]string, len(partials))
		for i := range partials {
			all[i] = number(&partials[i])
		}
		return strings.Join(all, " ")
	}
	return []string{
		list(func(p *Partial) string { return strconv.Itoa(p.Number) }),
		list(func(p *Partial) string { return listed(p.Hz) }),
		list(func(p *Partial) string { return listed(p.OffCents) }),
		list(func(p *Partial) string { return listed(p.SigmaCents) }),
		list(func(p *Partial) string { return listed(p.LevelDB) }),
	}
}

// listed is plain within a list, where what is not known must hold its place.
func listed(x float64) string {
	if !finite(x) {
		return "-"
	}
	return plain(x)
}

// plain writes a number with full precision, or nothing if it is not known.
func plain(x float64) string {
	if !finite(x) {
		return ""
	}
	return strconv.FormatFloat(noSign(x), 'g', -1, 64)
}
