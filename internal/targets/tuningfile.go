package targets

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"tunerd/internal/strict"
)

// isTuningFile says whether a spec is the path of a file.
func isTuningFile(spec string) bool {
	switch strings.ToLower(filepath.Ext(spec)) {
	case ".toml", ".json", ".csv":
		return len(spec) <= 4096
	}
	return false
}

// readTuningFile reads a file by its ending. The tuning's spec is the path.
func readTuningFile(path string) (*Tuning, error) {
	data, err := strict.Read("tuning", path)
	if err != nil {
		return nil, err
	}
	return ParseTuningFile(path, data)
}

// ParseTuningFile reads the content of a tuning file: TOML, or by the ending of path the JSON or
// CSV that Document and its writers make. The path begins every error line.
//
// The TOML is strict:
//
//	name = "My scale"          # for display
//	description = "…"
//	repeat = "2/1"             # any interval upwards; 2/1 if left out
//	reference = "A4=440"       # a note or step and its pitch; A4=440 if left out
//	rotate = 2                 # note 2 of those below becomes 1/1; 0 if left out
//
//	[[note]]
//	interval = "24of41edo"         # a ratio, steps, cents like "386.31c", or a sum of these
//	[[note]]
//	cents = 386.31             # or a plain number of cents
//
// or, instead of repeat and notes, a spec as ParseTuning reads it:
//
//	spec = "quarter-comma-meantone"
func ParseTuningFile(path string, data []byte) (*Tuning, error) {
	if len(data) > strict.MaxBytes {
		return nil, fmt.Errorf("%s: a tuning file has at most %d bytes", path, strict.MaxBytes)
	}
	var file tuningFile
	var err error
	isTOML := false
	switch strings.ToLower(filepath.Ext(path)) {
	case ".json":
		err = file.readJSON(data)
	case ".csv":
		err = file.readCSV(data)
	default:
		isTOML = true
		if err = strict.TOML(data, &file, acceptedTuningKeys); err != nil {
			return nil, fmt.Errorf("%s:%w", path, err)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	t, err := file.tuning()
	if err != nil {
		if !isTOML {
			data = nil // the place of an error is looked for in TOML
		}
		return nil, strict.Locate(path, data, err)
	}
	t.spec, t.name = path, file.Name
	return t, nil
}

// tuningFile is the TOML of a tuning.
type tuningFile struct {
	Name        string     `toml:"name"`
	Description string     `toml:"description"`
	Spec        string     `toml:"spec"`
	Repeat      string     `toml:"repeat"`
	Reference   string     `toml:"reference"`
	Rotate      *int       `toml:"rotate"`
	Notes       []noteFile `toml:"note"`
}

// noteFile is one [[note]]; exactly one of the two gives it.
type noteFile struct {
	Interval *string  `toml:"interval"`
	Cents    *float64 `toml:"cents"`
}

func acceptedTuningKeys(key toml.Key, _ string) string {
	if len(key) > 1 && key[0] == "note" {
		return "a note has interval or cents"
	}
	return "a tuning has name, description, spec, repeat, reference, rotate and [[note]]"
}

// tuning checks the values and builds the tuning.
func (f *tuningFile) tuning() (*Tuning, error) {
	if err := checkText("name", f.Name); err != nil {
		return nil, strict.At(err, "name")
	}
	if err := checkText("description", f.Description); err != nil {
		return nil, strict.At(err, "description")
	}
	t, err := f.unanchored()
	if err == nil && f.Rotate != nil && *f.Rotate != 0 {
		if *f.Rotate < 0 {
			return nil, strict.At(fmt.Errorf("rotate %d: notes are numbered from 0", *f.Rotate), "rotate")
		}
		t, err = t.rotated(*f.Rotate)
		err = strict.At(err, "rotate")
	}
	if err != nil || f.Reference == "" {
		return t, err
	}
	return t.withReferenceOf(f.Reference)
}

func (f *tuningFile) unanchored() (*Tuning, error) {
	if f.Spec != "" {
		if len(f.Notes) > 0 || f.Repeat != "" {
			return nil, strict.At(errors.New("write either spec, or repeat and [[note]]"), "spec")
		}
		if isTuningFile(f.Spec) {
			return nil, strict.At(fmt.Errorf("spec %s: a tuning file does not name another file", quote(f.Spec)), "spec")
		}
		t, err := ParseTuning(f.Spec)
		return t, strict.At(err, "spec")
	}
	if len(f.Notes) == 0 {
		return nil, errors.New("no notes; write each under [[note]], like interval = \"3/2\", or one spec")
	}
	if err := checkCount(len(f.Notes)); err != nil {
		return nil, err
	}
	period, err := f.period()
	if err != nil {
		return nil, err
	}
	notes := make([]Interval, len(f.Notes))
	texts := make([]string, len(f.Notes))
	for i := range f.Notes {
		if notes[i], err = f.Notes[i].read(); err != nil {
			return nil, strict.At(fmt.Errorf("note %d: %w", i+1, err), "note", i)
		}
		texts[i] = notes[i].String()
	}
	if err := refuseRepeated(notes, texts); err != nil {
		return nil, err
	}
	t, err := newListed(notes, period)
	if err == nil && f.Repeat == "" {
		t.beyond = beyondOctave(notes)
	}
	return t, err
}

func (f *tuningFile) period() (Interval, error) {
	if f.Repeat == "" {
		return octave, nil
	}
	period, err := ParseInterval(f.Repeat)
	if err != nil {
		return Interval{}, strict.At(fmt.Errorf("repeat: %w", err), "repeat")
	}
	if !(period.Cents() > 0) {
		return Interval{}, strict.At(fmt.Errorf("repeat %s does not lead upwards; write an interval above 1/1, like 3/1", quote(f.Repeat)), "repeat")
	}
	return period, nil
}

func (n *noteFile) read() (Interval, error) {
	switch {
	case (n.Interval == nil) == (n.Cents == nil):
		return Interval{}, errors.New(`write exactly one of interval, like "3/2", and cents, like 701.955`)
	case n.Interval != nil:
		iv, err := ParseInterval(*n.Interval)
		return iv, strict.At(err, "interval")
	case !(*n.Cents >= -maxIntervalCents && *n.Cents <= maxIntervalCents): // NaN is not
		return Interval{}, strict.At(fmt.Errorf("%g cents are beyond %d", *n.Cents, maxIntervalCents), "cents")
	}
	return Cents(*n.Cents), nil
}
