package detune

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"tunerd/internal/stiffstring"
	"tunerd/internal/strict"
	"tunerd/internal/targets"
)

// planFile is a plan as it is kept, in TOML or JSON.
type planFile struct {
	Type       string       `toml:"type" json:"type"`
	Instrument string       `toml:"instrument" json:"instrument"`
	Tuning     string       `toml:"tuning,omitempty" json:"tuning,omitempty"`
	Reference  string       `toml:"reference,omitempty" json:"reference,omitempty"`
	Method     Method       `toml:"method,omitempty" json:"method,omitempty"`
	PureBy     Purity       `toml:"pure_by,omitempty" json:"pure_by,omitempty"`
	Anchor     int          `toml:"anchor,omitempty" json:"anchor,omitempty"`
	AcceptRisk bool         `toml:"accept_risk,omitempty" json:"accept_risk,omitempty"`
	Strings    []planString `toml:"strings" json:"strings"`
	Chords     []planChord  `toml:"chords,omitempty" json:"chords,omitempty"`
}

type planString struct {
	String int     `toml:"string" json:"string"`
	Note   string  `toml:"note,omitempty" json:"note,omitempty"`
	Cents  float64 `toml:"cents" json:"cents"`
	Hz     float64 `toml:"hz,omitempty" json:"hz,omitempty"`
	NowHz  float64 `toml:"measured_hz,omitempty" json:"measured_hz,omitempty"`
	B      float64 `toml:"measured_b,omitempty" json:"measured_b,omitempty"`
}

type planChord struct {
	Name   string  `toml:"name,omitempty" json:"name,omitempty"`
	Frets  string  `toml:"frets" json:"frets"`
	Ratios string  `toml:"ratios" json:"ratios"`
	Weight float64 `toml:"weight,omitempty" json:"weight,omitempty"`
}

// Encode returns the plan as the content of a file at path: JSON if that ends in .json, TOML if in
// .toml. An instrument read from a file is named by its path from there.
func (p *Plan) Encode(path string) ([]byte, error) {
	file := planFile{Type: "plan", Instrument: pathFrom(path, p.Instrument.ID), Tuning: p.Tuning, Reference: p.Reference,
		Method: p.Method, PureBy: p.PureBy, Anchor: p.Anchor, AcceptRisk: p.AcceptRisk}
	for i, cents := range p.Cents {
		s := planString{String: i + 1, Note: p.Instrument.Strings[i].Open.Label, Cents: cents, Hz: p.AfterHz(i + 1)}
		if p.Measured != nil {
			s.NowHz, s.B = p.Measured[i].Hz, p.Measured[i].B
		}
		file.Strings = append(file.Strings, s)
	}
	for _, c := range p.Chords {
		file.Chords = append(file.Chords, planChord{c.Name, c.FretText(), c.Ratios, c.Weight})
	}
	switch filepath.Ext(path) {
	case ".toml":
		data, err := toml.Marshal(file)
		return append(data, '\n'), err
	case ".json":
		data, err := json.MarshalIndent(file, "", "  ")
		return append(data, '\n'), err
	}
	return nil, errExtension(path)
}

func errExtension(path string) error {
	return fmt.Errorf("plan %s: the name must end in .toml or .json", path)
}

// pathFrom returns the way to a file from that of a plan; the name of a built-in instrument stays.
func pathFrom(plan, id string) string {
	if !isPath(id) {
		return id
	}
	from, errFrom := filepath.Abs(filepath.Dir(plan))
	to, errTo := filepath.Abs(id)
	if rel, err := filepath.Rel(from, to); err == nil && errFrom == nil && errTo == nil {
		if !strings.ContainsAny(rel, `/\`) {
			rel = "./" + rel
		}
		return filepath.ToSlash(rel)
	}
	return id
}

// isPath tells a file from the name of a built-in instrument, as targets.LoadInstrument does.
func isPath(id string) bool {
	return strings.ContainsAny(id, `/\`) || strings.HasSuffix(id, ".toml")
}

// LoadPlan reads the file of a plan and the instrument that it names.
func LoadPlan(path string) (*Plan, error) {
	data, err := strict.Read("plan", path)
	if err != nil {
		return nil, err
	}
	return ParsePlan(path, data)
}

// ParsePlan reads a plan as if from a file at path. It is strict: an unknown key is refused, and so
// is a plan made for an instrument that has changed since.
func ParsePlan(path string, data []byte) (*Plan, error) {
	if len(data) > strict.MaxBytes {
		return nil, fmt.Errorf("plan %s: it has more than %d bytes", path, strict.MaxBytes)
	}
	var file planFile
	var err error
	switch filepath.Ext(path) {
	case ".toml":
		err = strict.TOML(data, &file, func(toml.Key, string) string { return planKeys })
	case ".json":
		err = decodeJSON(data, &file)
	default:
		return nil, errExtension(path)
	}
	if err != nil {
		return nil, fmt.Errorf("plan %s:%w", path, err)
	}
	if isPath(file.Instrument) && !filepath.IsAbs(file.Instrument) {
		file.Instrument = filepath.Join(filepath.Dir(path), filepath.FromSlash(file.Instrument))
		if !isPath(file.Instrument) {
			file.Instrument = "./" + file.Instrument
		}
	}
	p, err := file.plan()
	if err != nil {
		if filepath.Ext(path) != ".toml" {
			data = nil // the place of an error is looked for in TOML
		}
		return nil, strict.Locate("plan "+path, data, err)
	}
	return p, nil
}

// planKeys says what a plan may hold.
const planKeys = "a plan has type, instrument, tuning, reference, method, pure_by, anchor, accept_risk, " +
	"[[strings]] with string, note, cents, hz, measured_hz, measured_b, and [[chords]] with name, frets, ratios, weight"

func decodeJSON(data []byte, into *planFile) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil && d.More() {
		err = errors.New("there is more after the plan")
	}
	if err != nil {
		text := strict.OneLine(strings.TrimPrefix(err.Error(), "json: "))
		if strings.HasPrefix(text, "unknown field") {
			text += "; " + planKeys
		}
		return fmt.Errorf(" %s", text)
	}
	return nil
}

// plan loads the instrument and checks the values.
func (f *planFile) plan() (*Plan, error) {
	if f.Type != "plan" {
		return nil, strict.At(fmt.Errorf("type %q is not \"plan\"", f.Type), "type")
	}
	in, err := f.instrument()
	if err != nil {
		return nil, err
	}
	p := &Plan{Instrument: in, Tuning: f.Tuning, Reference: f.Reference, Method: f.Method, PureBy: f.PureBy, Anchor: f.Anchor,
		AcceptRisk: f.AcceptRisk, Cents: make([]float64, len(in.Strings)), Measured: make([]Measured, len(in.Strings))}
	for i, s := range f.Strings {
		if err := p.takeString(s); err != nil {
			return nil, strict.At(err, "strings", i)
		}
	}
	for i, c := range f.Chords {
		if c.Weight == 0 {
			c.Weight = 1
		}
		chord, err := ParseChord(in, fmt.Sprintf("%s: %s as %s weight %g", c.Name, c.Frets, c.Ratios, c.Weight))
		if err != nil {
			return nil, strict.At(err, "chords", i)
		}
		p.Chords = append(p.Chords, chord)
	}
	if _, err := p.Detuned(); err != nil {
		return nil, err
	}
	problem := p.problem()
	if len(p.Chords) > 0 { // a plan made by hand may have none
		err = problem.check()
	}
	return p, err
}

func (f *planFile) instrument() (*targets.Instrument, error) {
	in, err := targets.LoadInstrument(f.Instrument)
	if err != nil {
		return nil, strict.At(err, "instrument")
	}
	var tuning *targets.Tuning
	var reference *targets.Reference
	if f.Tuning != "" {
		if tuning, err = targets.ParseTuning(f.Tuning); err != nil {
			return nil, strict.At(err, "tuning")
		}
	}
	if f.Reference != "" {
		r, err := targets.ParseReference(f.Reference)
		if err != nil {
			return nil, strict.At(err, "reference")
		}
		reference = &r
	}
	return in.With(tuning, reference)
}

// takeString takes over the move of one string. Strings that a plan does not name stay.
func (p *Plan) takeString(s planString) error {
	if s.String < 1 || s.String > len(p.Cents) {
		return fmt.Errorf("string %d: %s has strings 1 to %d", s.String, p.Instrument.Name, len(p.Cents))
	}
	if !(s.NowHz >= 0 && s.NowHz < 1e5 && s.B >= 0 && s.B < 1) {
		return fmt.Errorf("string %d: measured %g Hz and inharmonicity %g make no sense", s.String, s.NowHz, s.B)
	}
	p.Cents[s.String-1], p.Measured[s.String-1] = s.Cents, Measured{s.NowHz, s.B}
	if hz := p.AfterHz(s.String); s.Hz != 0 && !(math.Abs(stiffstring.Cents(s.Hz, hz)) < 0.01) {
		return fmt.Errorf("string %d: the plan says %.3f Hz, but %s moved by %g cents is %.3f Hz; the instrument has changed since", s.String, s.Hz, p.Instrument.Name, s.Cents, hz)
	}
	return nil
}
