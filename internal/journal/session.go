package journal

import (
	"encoding/json"
	"math"
	"strings"
	"time"
)

// A Session is one sitting: what was measured, on what, with what. What is not known is empty
// or 0.
type Session struct {
	ID       int64     // number in this journal, from 1; set when the session is stored
	UID      string    // the same in every journal that it is copied to; set by Begin if empty
	Kind     string    // the command that kept it: "listen", "measure", "intonation"
	Started  time.Time // set by Begin if zero; kept to the millisecond
	Ended    time.Time // zero while it runs, and for one that was broken off
	Program  string    // version that measured
	Input    string    // device, "demo" or "-"; for recordings see Reading.File
	RateHz   int       // nominal sample rate of the input, Hz
	Clock    Clock     // correction that the readings have
	Readings int       // how many are stored; set by the journal

	Instrument string // name of a built-in, or path of a file
	Identity   string // name and open strings of the instrument, wherever its file lies; empty in old sessions
	Strings    []String
	Tuning     string
	Reference  string // such as "A4=440 Hz"
	Plan       string // what changes the targets, such as a detuning plan
	Note       string // remark of the user
	Data       string // what a guided flow keeps besides: a JSON object, or empty
}

// A String is one string of the instrument as it was strung.
type String struct {
	Number        int     `json:"number"` // from 1
	Label         string  `json:"label"`
	TargetHz      float64 `json:"target_hz"`
	GaugeMM       float64 `json:"gauge_mm,omitempty"`
	LinearDensity float64 `json:"linear_density_kg_m,omitempty"`
	Material      string  `json:"material,omitempty"`
}

// UnmarshalJSON also reads what sessions up to schema 3 have, where linear_density_kg_m was called unit_weight_kg_m.
func (s *String) UnmarshalJSON(text []byte) error {
	type plain String // without this method
	var read struct {
		plain
		Former float64 `json:"unit_weight_kg_m"`
	}
	if err := json.Unmarshal(text, &read); err != nil {
		return err
	}
	*s = String(read.plain)
	if s.LinearDensity == 0 {
		s.LinearDensity = read.Former
	}
	return nil
}

// A Clock is the correction of a sound card's clock: it delivers 1 + PPM·10⁻⁶ times as many
// samples a second as it says, and the readings have been multiplied by that.
type Clock struct {
	PPM      float64
	SigmaPPM float64 // standard uncertainty
	By       string  // how PPM was found: "tone", "system clock", "given"; empty: not corrected
}

// A Reading is the pitch of one note. A number that is not known is NaN. As JSON it is what a view lists;
// an export has all of it ([Journal.Export]).
type Reading struct {
	TimeS      float64 `json:"t_s"`      // s from the start of the session, or of File
	File       string  `json:"file"`     // recording that it was read from; empty if live
	String     int     `json:"string"`   // from 1; 0: none
	Fret       int     `json:"fret"`     // 0: open
	Harmonic   int     `json:"harmonic"` // touched natural harmonic, from 2; 0: none
	Label      string  `json:"label"`    // of the target
	TargetHz   float64 `json:"target_hz"`
	F1Hz       float64 `json:"f1_hz"`          // partial 1 under the law of the stiff string
	SigmaCents float64 `json:"f1_sigma_cents"` // standard uncertainty of F1Hz, of TargetHz taken as exact, and of Cents
	Cents      float64 `json:"cents"`          // F1Hz against TargetHz; positive is sharp
	AttackF1Hz float64 `json:"-"`
	Partial1Hz float64 `json:"-"`
	B          float64 `json:"-"` // inharmonicity
	SNRdB      float64 `json:"-"`
	FromS      float64 `json:"-"` // span after the onset that the pitch is of; NaN: settled, whole note
	ToS        float64 `json:"-"`
	Mark       string  `json:"mark"` // what a guided flow has to say of it, such as "left out"
}

// Unknown is a number that is not known.
var Unknown = math.NaN()

// Known is x, or Unknown if x is 0, as display and pitch write what they do not know.
func Known(x float64) float64 {
	if x == 0 {
		return Unknown
	}
	return x
}

// sanitized returns s in the form that every copy of it has: text that JSON and SQLite carry, and
// times to the millisecond.
func (s Session) sanitized() Session {
	for _, text := range []*string{&s.UID, &s.Kind, &s.Program, &s.Input, &s.Clock.By, &s.Instrument, &s.Identity,
		&s.Tuning, &s.Reference, &s.Plan, &s.Note, &s.Data} {
		*text = plainText(*text)
	}
	s.Strings = append([]String(nil), s.Strings...)
	for i := range s.Strings {
		t := &s.Strings[i]
		t.Label, t.Material = plainText(t.Label), plainText(t.Material)
		for _, x := range []*float64{&t.TargetHz, &t.GaugeMM, &t.LinearDensity} {
			*x = knownOr0(*x)
		}
	}
	s.Clock.PPM, s.Clock.SigmaPPM = knownOr0(s.Clock.PPM), knownOr0(s.Clock.SigmaPPM)
	s.Started, s.Ended = s.Started.Truncate(time.Millisecond).UTC(), s.Ended.Truncate(time.Millisecond).UTC()
	return s
}

func (r Reading) sanitized() Reading {
	r.File, r.Label, r.Mark = plainText(r.File), plainText(r.Label), plainText(r.Mark)
	for _, x := range r.numbers() {
		if math.IsInf(*x, 0) {
			*x = math.NaN()
		}
		*x += 0 // SQLite has no negative zero
	}
	return r
}

// numbers are the measured values, in an order that stored batches keep to.
func (r *Reading) numbers() [11]*float64 {
	return [...]*float64{&r.TimeS, &r.TargetHz, &r.F1Hz, &r.SigmaCents, &r.Cents, &r.AttackF1Hz, &r.Partial1Hz,
		&r.B, &r.SNRdB, &r.FromS, &r.ToS}
}

// plainText makes s valid UTF-8 without NUL.
func plainText(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\ufffd"), "\x00", "")
}

func knownOr0(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x + 0
}
