package targets

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"tunerd/internal/strict"
)

// Limits of an instrument file.
const (
	maxStrings       = 64
	maxCourse        = 4 // strings; common practice, no source: the tiple has courses of three and four
	maxTextRunes     = 400
	minScaleMM       = 20
	maxScaleMM       = 5000
	minGaugeMM       = 0.1 // the thinnest music wire in ASTM A228 has 0.1016 mm
	maxGaugeMM       = 8   // common practice, no source: no wound string of a bass, piano or harp is thicker
	maxLinearDensity = 1   // kg/m
	maxInharmonic    = 0.1
	minSpreadMM      = 1
	maxSpreadMM      = 1000
)

// instrumentFile is the TOML of an instrument.
type instrumentFile struct {
	Name          string       `toml:"name"`
	Kind          string       `toml:"kind"`
	Description   string       `toml:"description"`
	Tuning        string       `toml:"tuning"`
	Reference     string       `toml:"reference"`
	ScaleLengthMM *float64     `toml:"scale_length_mm"`
	Perpendicular int          `toml:"perpendicular_fret"`
	NutSpread     *float64     `toml:"nut_spread_mm"`
	SaddleSpread  *float64     `toml:"saddle_spread_mm"`
	Frets         *fretsFile   `toml:"frets"`
	Strings       []stringFile `toml:"strings"`
}

// stringFile is one [[strings]]; exactly one of the first four gives its open pitch, which cents moves.
type stringFile struct {
	Note          *string    `toml:"note"`
	Step          *int       `toml:"step"`
	Interval      *string    `toml:"interval"`
	Hz            *float64   `toml:"hz"`
	Cents         *float64   `toml:"cents"`
	Count         *int       `toml:"count"`
	ScaleLengthMM *float64   `toml:"scale_length_mm"`
	GaugeMM       *float64   `toml:"gauge_mm"`
	CoreMM        *float64   `toml:"core_mm"`
	LinearDensity *float64   `toml:"linear_density_kg_m"`
	Material      string     `toml:"material"`
	Inharmonicity *float64   `toml:"inharmonicity"`
	Frets         *fretsFile `toml:"frets"`
}

// readInstrumentFile reads and checks the file at path.
func readInstrumentFile(path string) (*Instrument, error) {
	data, err := strict.Read("instrument", path)
	if err != nil {
		return nil, err
	}
	return ParseInstrument(path, data)
}

// ParseInstrument reads the TOML of an instrument. The id is its path or built-in name and
// begins every error line.
func ParseInstrument(id string, data []byte) (*Instrument, error) {
	if len(data) > strict.MaxBytes {
		return nil, fmt.Errorf("%s: an instrument file has at most %d bytes", id, strict.MaxBytes)
	}
	var file instrumentFile
	if err := strict.TOML(data, &file, acceptedKeys); err != nil {
		return nil, fmt.Errorf("%s:%w", id, err)
	}
	in, err := file.instrument()
	if err != nil {
		return nil, strict.Locate(id, data, err)
	}
	in.ID = id
	return in, nil
}

// acceptedKeys lists the keys of the table that an unknown key stands in. The library leaves the
// name of an inline table out of the key, so line, the text before it, is asked as well.
func acceptedKeys(key toml.Key, line string) string {
	if len(key) > 0 && key[len(key)-1] == "unit_weight_kg_m" {
		return "it is called linear_density_kg_m now"
	}
	where, table := "an instrument", reflect.TypeFor[instrumentFile]()
	for _, k := range key[:max(0, len(key)-1)] {
		switch k {
		case "strings":
			where, table = "a string", reflect.TypeFor[stringFile]()
		case "frets":
			where, table = "frets", reflect.TypeFor[fretsFile]()
		}
	}
	if strings.HasPrefix(strings.TrimSpace(line), "frets") && strings.Contains(line, "{") {
		where, table = "frets", reflect.TypeFor[fretsFile]()
	}
	names := make([]string, table.NumField())
	for i := range names {
		names[i] = table.Field(i).Tag.Get("toml")
	}
	verb := " has "
	if where == "frets" {
		verb = " have "
	}
	return where + verb + strings.Join(names, ", ")
}

// instrument checks the values and builds the instrument.
func (f *instrumentFile) instrument() (*Instrument, error) {
	if err := f.checkTexts(); err != nil {
		return nil, err
	}
	tuning, err := f.tuning()
	if err != nil {
		return nil, err
	}
	if len(f.Strings) < 1 || len(f.Strings) > maxStrings {
		return nil, strict.At(fmt.Errorf("%d strings; an instrument has 1 to %d, each under [[strings]]", len(f.Strings), maxStrings), "strings", maxStrings)
	}
	if err := f.checkShared(); err != nil {
		return nil, err
	}
	in := &Instrument{Name: f.Name, Kind: f.Kind, Description: f.Description, Tuning: tuning, built: tuning}
	for i := range f.Strings {
		s, err := f.Strings[i].build(f)
		s.course = i
		if err != nil {
			return nil, in.ofString(len(in.Strings), i, err)
		}
		for range f.Strings[i].count() {
			in.Strings = append(in.Strings, s)
		}
	}
	if len(in.Strings) > maxStrings {
		return nil, strict.At(fmt.Errorf("%d strings; an instrument has 1 to %d", len(in.Strings), maxStrings), "strings")
	}
	if err := f.shape(in); err != nil {
		return nil, err
	}
	if err := in.placeStrings(); err != nil {
		return nil, err
	}
	for i := range in.Strings {
		if err := in.placeFrets(&in.Strings[i]); err != nil {
			return nil, in.ofString(i, in.Strings[i].course, err)
		}
	}
	return in, nil
}

// checkShared checks what strings take that have none of their own.
func (f *instrumentFile) checkShared() error {
	if err := setMeasure(new(float64), "scale_length_mm", f.ScaleLengthMM, minScaleMM, maxScaleMM); err != nil {
		return err
	}
	_, err := f.Frets.build()
	return strict.At(err, "frets")
}

// ofString says which string, counted from 0, err speaks of, and which [[strings]] of the file gives it.
func (in *Instrument) ofString(i, entry int, err error) error {
	return strict.At(fmt.Errorf("string %d: %w", i+1, err), "strings", entry)
}

// count is how many strings of a course the entry stands for.
func (s *stringFile) count() int {
	if s.Count == nil {
		return 1
	}
	return *s.Count
}

// shape sets what the file says of the board as a whole.
func (f *instrumentFile) shape(in *Instrument) error {
	most := 0
	for i := range in.Strings {
		most = max(most, len(in.Strings[i].Frets))
	}
	if f.Perpendicular < 0 || f.Perpendicular > most {
		return strict.At(fmt.Errorf("perpendicular_fret %d is not within 0 to %d", f.Perpendicular, most), "perpendicular_fret")
	}
	in.PerpendicularFret = f.Perpendicular
	if err := setMeasure(&in.NutSpreadMM, "nut_spread_mm", f.NutSpread, minSpreadMM, maxSpreadMM); err != nil {
		return err
	}
	return setMeasure(&in.SaddleSpreadMM, "saddle_spread_mm", f.SaddleSpread, minSpreadMM, maxSpreadMM)
}

// setMeasure sets to a measure of the file that lies within its bounds; nil leaves it.
func setMeasure(to *float64, key string, from *float64, lo, hi float64) error {
	if from == nil {
		return nil
	}
	if !(*from >= lo && *from <= hi) { // NaN is not
		return strict.At(fmt.Errorf("%s %g is outside %g to %g", key, *from, lo, hi), key)
	}
	*to = *from
	return nil
}

func (f *instrumentFile) checkTexts() error {
	if f.Name == "" {
		return errors.New(`no name; write one like name = "My guitar"`)
	}
	for _, t := range [...]struct{ key, text string }{{"name", f.Name}, {"kind", f.Kind}, {"description", f.Description}} {
		if err := checkText(t.key, t.text); err != nil {
			return strict.At(err, t.key)
		}
	}
	return nil
}

// checkText keeps control characters off the terminal.
func checkText(key, text string) error {
	if utf8.RuneCountInString(text) > maxTextRunes {
		return fmt.Errorf("%s is longer than %d characters", key, maxTextRunes)
	}
	if strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsGraphic(r) }) {
		return fmt.Errorf("%s %s has characters that cannot be shown on one line", key, quote(text))
	}
	return nil
}

func (f *instrumentFile) tuning() (*Tuning, error) {
	if f.Tuning == "" {
		return nil, errors.New(`no tuning; write one like tuning = "12edo"`)
	}
	t, err := ParseTuning(f.Tuning)
	if err != nil || f.Reference == "" {
		return t, strict.At(err, "tuning")
	}
	return t.withReferenceOf(f.Reference)
}

// withReferenceOf gives the tuning the reference of its file.
func (t *Tuning) withReferenceOf(text string) (*Tuning, error) {
	r, err := ParseReference(text)
	if err == nil {
		t, err = t.WithReference(r)
	}
	if err != nil {
		return nil, strict.At(err, "reference")
	}
	return t, nil
}

// build checks one string; its pitch and frets are placed later.
func (s *stringFile) build(f *instrumentFile) (InstrumentString, error) {
	out := InstrumentString{Material: s.Material}
	var err error
	if out.pitch, err = s.openPitch(); err != nil {
		return out, err
	}
	if err := checkText("material", s.Material); err != nil {
		return out, strict.At(err, "material")
	}
	if _, err := ParseMaterial(s.Material); err != nil {
		return out, strict.At(err, "material")
	}
	scale := s.ScaleLengthMM
	if scale == nil {
		scale = f.ScaleLengthMM
	}
	for _, m := range [...]struct {
		key    string
		from   *float64
		to     *float64
		lo, hi float64
	}{
		{"scale_length_mm", scale, &out.ScaleLengthMM, minScaleMM, maxScaleMM},
		{"gauge_mm", s.GaugeMM, &out.GaugeMM, minGaugeMM, maxGaugeMM},
		{"core_mm", s.CoreMM, &out.CoreMM, minGaugeMM, maxGaugeMM},
		{"linear_density_kg_m", s.LinearDensity, &out.LinearDensity, 1e-6, maxLinearDensity},
		{"inharmonicity", s.Inharmonicity, &out.Inharmonicity, 0, maxInharmonic},
	} {
		if err := setMeasure(m.to, m.key, m.from, m.lo, m.hi); err != nil {
			if m.hi == maxGaugeMM {
				err = fmt.Errorf("%w; it is a diameter in mm: .010 in is 0.254", err)
			}
			return out, err
		}
	}
	if n := s.count(); n < 1 || n > maxCourse {
		return out, strict.At(fmt.Errorf("count %d is not within 1 to %d strings tuned alike", n, maxCourse), "count")
	}
	if out.CoreMM > 0 && out.GaugeMM > 0 && out.CoreMM >= out.GaugeMM {
		return out, strict.At(fmt.Errorf("core_mm %g is not below gauge_mm %g, which includes the winding", out.CoreMM, out.GaugeMM), "core_mm")
	}
	frets := s.Frets
	if frets == nil {
		frets = f.Frets
	}
	out.Frets, err = frets.build()
	return out, strict.At(err, "frets")
}

func (s *stringFile) openPitch() (openPitch, error) {
	var p openPitch
	given := 0
	if s.Note != nil {
		note, cents := CutCents(*s.Note)
		p, given = openPitch{kind: byNote, note: note, cents: cents}, given+1
		if !(math.Abs(cents) <= maxDetune) {
			return p, strict.At(fmt.Errorf("note %s is more than %d cents from a note", quote(*s.Note), maxDetune), "note")
		}
	}
	if s.Step != nil {
		p, given = openPitch{kind: byStep, step: *s.Step}, given+1
	}
	if s.Hz != nil {
		p, given = openPitch{kind: byHz, hz: *s.Hz}, given+1
	}
	if s.Interval != nil {
		iv, err := ParseInterval(*s.Interval)
		if err != nil {
			return p, strict.At(err, "interval")
		}
		p, given = openPitch{kind: byInterval, interval: iv}, given+1
	}
	switch {
	case given == 0:
		return p, errors.New("no open pitch; give exactly one of note, step, interval (above the reference note), hz")
	case given > 1:
		return p, errors.New("give only one of note, step, interval, hz")
	case p.kind == byStep && (p.step < -maxStepCount || p.step > maxStepCount):
		return p, strict.At(fmt.Errorf("step %d is out of range", p.step), "step")
	}
	return p, s.offset(&p)
}

// offset adds cents of the file to the pitch.
func (s *stringFile) offset(p *openPitch) error {
	switch {
	case s.Cents == nil:
		return nil
	case p.cents != 0:
		return strict.At(fmt.Errorf("note %s has cents of its own; leave them there, or in cents", quote(*s.Note)), "cents")
	case !(math.Abs(*s.Cents) <= maxDetune): // NaN is not
		return strict.At(fmt.Errorf("cents %g is not within -%d to %d", *s.Cents, maxDetune, maxDetune), "cents")
	}
	p.cents = *s.Cents
	return nil
}
