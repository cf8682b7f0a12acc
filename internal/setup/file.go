package setup

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"tunerd/internal/wholefile"
)

// What a file of a check says of itself.
const (
	fileType    = "intonation_check"
	fileVersion = 1
)

// A document is the file of a check.
type document struct {
	Type    string `json:"type"`
	Version int    `json:"version"`
	*Check
}

// Write writes the check as JSON.
func (c *Check) Write(w io.Writer) error {
	out := json.NewEncoder(w)
	out.SetIndent("", " ")
	return out.Encode(document{fileType, fileVersion, c})
}

// Read reads a check as Write writes it.
func Read(r io.Reader) (*Check, error) {
	doc := document{Check: &Check{}}
	if err := json.NewDecoder(r).Decode(&doc); err != nil {
		return nil, fmt.Errorf("no check of intonation: %w", err)
	}
	switch {
	case doc.Type != fileType:
		return nil, fmt.Errorf("no check of intonation: its type is %q, not %q", doc.Type, fileType)
	case doc.Version != fileVersion:
		return nil, fmt.Errorf("version %d of a check of intonation; this program reads version %d", doc.Version, fileVersion)
	}
	return doc.Check, doc.Check.validate()
}

// validate finds what would mislead or break a check from outside.
func (c *Check) validate() error {
	if err := c.Board.check(); err != nil {
		return err
	}
	if c.At < 0 || c.At > len(c.Entries) {
		return fmt.Errorf("it stands at note %d of %d", c.At+1, len(c.Entries))
	}
	if err := c.Settings.Validate(); err != nil {
		return err
	}
	for _, e := range c.Entries {
		if err := c.Board.checkNote(e.Note); err != nil {
			return err
		}
		for _, p := range e.Plucks {
			if !p.valid() {
				return fmt.Errorf("%s: a pluck of %g Hz ± %g cents", e.Text(), p.F1Hz, p.SigmaCents)
			}
		}
	}
	return nil
}

// mostReliefMM is more than any neck is bowed.
const mostReliefMM = 2

// Validate finds settings that make no sense.
func (s Settings) Validate() error {
	m := s.Model
	for _, x := range [...]float64{m.RepeatCents, m.NoteCents, m.SlotMM, m.NutHeightMM, s.Goal} {
		if !(x > 0 && x < 100) {
			return fmt.Errorf("a setting of %g is not within 0 to 100", x)
		}
	}
	switch {
	case !(0 <= m.ReliefMM && m.ReliefMM <= mostReliefMM && 0 <= m.ReliefSigma && m.ReliefSigma < 10):
		return fmt.Errorf("a relief of %g mm: want 0 to %d, as a straightedge on the frets shows it", m.ReliefMM, mostReliefMM)
	case !(0 <= s.Window[0] && s.Window[0] < s.Window[1] && s.Window[1] <= 60):
		return fmt.Errorf("window of %g to %g s after the onset: want 0 <= start < end <= 60", s.Window[0], s.Window[1])
	case s.Plucks < 1 || s.Most < s.Plucks || s.Most > 100:
		return fmt.Errorf("%d to %d plucks a note: want 1 or more, 100 at most", s.Plucks, s.Most)
	case !(s.Thread >= 0 && s.Thread < 100):
		return fmt.Errorf("a screw of %g mm a turn", s.Thread)
	}
	return nil
}

// Save writes the check to a file, all of it or nothing: to a temporary file beside it first, which
// takes its place when it is safely on the disk.
func (c *Check) Save(path string) error {
	var b bytes.Buffer
	if err := c.Write(&b); err != nil {
		return fmt.Errorf("cannot write %s: %w", path, err)
	}
	return wholefile.Write(path, b.Bytes(), 0o644)
}

// Load reads a check from a file.
func Load(path string) (*Check, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	c, err := Read(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return c, nil
}
