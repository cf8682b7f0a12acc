package text

import (
	"bytes"
	"encoding/json"
	"io"
	"math"

	"tunerd/internal/display"
)

// A Number is a float64 that JSON can carry: NaN and the infinities are null.
type Number float64

func (n Number) MarshalJSON() ([]byte, error) {
	if !finite(float64(n)) {
		return []byte("null"), nil
	}
	return json.Marshal(noSign(float64(n)))
}

// noSign is x, but 0 for the negative zero that arithmetic may leave.
func noSign(x float64) float64 {
	if x == 0 {
		return 0
	}
	return x
}

// unknown is null in JSON.
var unknown = Number(math.NaN())

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// positive is for numbers that are 0 when not known.
func positive(hz float64) Number {
	if !(hz > 0) {
		return unknown
	}
	return Number(hz)
}

// pitchFields are the fields that a note and a reading share, first part.
type pitchFields struct {
	F1Hz          Number      `json:"f1_hz"`
	F1SigmaCents  Number      `json:"f1_sigma_cents"`
	SigmaTerms    *sigmaTerms `json:"sigma_terms,omitempty"`
	AttackF1Hz    Number      `json:"attack_f1_hz"`
	Partial1Hz    Number      `json:"partial1_hz"`
	Inharmonicity Number      `json:"inharmonicity"`
	SNRdB         Number      `json:"snr_db"`
}

// A sigmaTerms is a display.SigmaTerms that says anything; terms that are 0 are left out.
type sigmaTerms struct {
	Noise      Number `json:"noise,omitempty"`
	Scatter    Number `json:"scatter,omitempty"`
	Stiffness  Number `json:"stiffness,omitempty"`
	Glide      Number `json:"glide,omitempty"`
	Movement   Number `json:"movement,omitempty"`
	Vibrato    Number `json:"vibrato,omitempty"`
	Unmodelled Number `json:"unmodelled,omitempty"`
}

func termsOf(t display.SigmaTerms) *sigmaTerms {
	if t == (display.SigmaTerms{}) {
		return nil
	}
	return &sigmaTerms{
		Noise: Number(t.Noise), Scatter: Number(t.Scatter), Stiffness: Number(t.Stiffness), Glide: Number(t.Glide),
		Movement: Number(t.Movement), Vibrato: Number(t.Vibrato), Unmodelled: Number(t.Unmodelled),
	}
}

// A clockObject is a display.Clock that corrects something.
type clockObject struct {
	PPM      Number `json:"ppm"`
	SigmaPPM Number `json:"sigma_ppm"`
	By       string `json:"by"`
}

func clockOf(c display.Clock) *clockObject {
	if c.By == "" {
		return nil
	}
	return &clockObject{Number(c.PPM), positive(c.SigmaPPM), c.By}
}

// targetFields are the fields that a note and a reading share, second part.
type targetFields struct {
	Target     *targetObject   `json:"target"`
	Cents      Number          `json:"cents"`
	CentsSigma Number          `json:"cents_sigma"`
	BeatHz     Number          `json:"beat_hz"`
	State      *string         `json:"state"`
	Standing   string          `json:"standing,omitempty"`
	Seems      *seemsObject    `json:"seems,omitempty"`
	Partials   []partialObject `json:"partials,omitempty"`
}

// A targetObject is a display.Target whose frequency is safe for JSON.
type targetObject struct {
	Label  string `json:"label"`
	Hz     Number `json:"hz"`
	Step   int    `json:"step"`
	String int    `json:"string,omitempty"`
	Fret   int    `json:"fret"`
}

// A seemsObject is the open string that a sound seems to be instead of the held one.
type seemsObject struct {
	targetObject
	Cents Number `json:"cents"`
}

// doubt adds how what sounds stands to the held string.
func (t *targetFields) doubt(s display.Standing, seems display.Target, cents float64) {
	t.Standing = string(s)
	if seems.String != 0 {
		t.Seems = &seemsObject{targetObject{seems.Label, Number(seems.Hz), seems.Step, seems.String, seems.Fret}, Number(cents)}
	}
}

type partialObject struct {
	Number     int    `json:"number"`
	Hz         Number `json:"hz"`
	OffCents   Number `json:"off_cents"`
	SigmaCents Number `json:"sigma_cents"`
	LevelDB    Number `json:"level_db"`

	// Of a row of the strobe: what the partial is compared with, and how far it is off that.
	TargetHz *Number `json:"target_hz,omitempty"`
	DriftHz  *Number `json:"drift_hz,omitempty"`
}

type noteLine struct {
	Type    string `json:"type"`
	File    string `json:"file"`
	Channel int    `json:"channel"`
	StartS  Number `json:"start_s"`
	EndS    Number `json:"end_s"`
	pitchFields
	Doubt string       `json:"doubt,omitempty"`
	Clock *clockObject `json:"clock,omitempty"`
	targetFields
}

// targetOf returns the second part for a pitch against a target, which may be nil.
func targetOf(t *display.Target, cents, sigma, beatHz float64, state string) targetFields {
	if t == nil {
		return targetFields{Cents: unknown, CentsSigma: unknown, BeatHz: unknown}
	}
	return targetFields{
		Target: &targetObject{t.Label, Number(t.Hz), t.Step, t.String, t.Fret},
		Cents:  Number(cents), CentsSigma: Number(sigma), BeatHz: Number(beatHz), State: &state,
	}
}

// lineWriter writes a value as one line with a single call of Write, so that a reader at the
// other end of a pipe never sees half a line for long.
type lineWriter struct {
	w   io.Writer
	buf bytes.Buffer
	enc *json.Encoder
}

func newLineWriter(w io.Writer) *lineWriter {
	l := &lineWriter{w: w}
	l.enc = json.NewEncoder(&l.buf)
	l.enc.SetEscapeHTML(false)
	return l
}

func (l *lineWriter) write(v any) error {
	l.buf.Reset()
	if err := l.enc.Encode(v); err != nil {
		return err
	}
	_, err := l.w.Write(display.EscapeHidden(l.buf.Bytes()))
	return err
}

// NewNoteJSON returns a writer of notes as JSON Lines. Each note is written at once.
func NewNoteJSON(w io.Writer) NoteWriter { return &noteJSON{newLineWriter(w)} }

type noteJSON struct{ lines *lineWriter }

func (j *noteJSON) Flush() error { return nil }

func (j *noteJSON) WriteNote(n *Note) error {
	line := noteLine{
		Type: "note", File: n.File, Channel: n.Channel, StartS: Number(n.StartS), EndS: Number(n.EndS),
		pitchFields: pitchFields{
			F1Hz: Number(n.F1Hz), F1SigmaCents: Number(n.F1SigmaCents), SigmaTerms: termsOf(n.SigmaTerms),
			AttackF1Hz: positive(n.AttackF1Hz), Partial1Hz: positive(n.Partial1Hz),
			Inharmonicity: Number(n.Inharmonicity), SNRdB: Number(n.SNRdB),
		},
		Doubt:        n.Doubt,
		Clock:        clockOf(n.Clock),
		targetFields: targetOf(n.Target, n.Cents, n.CentsSigma, n.BeatHz, n.State),
	}
	line.doubt(n.Standing, n.Seems, n.SeemsCents)
	for _, p := range n.Partials {
		line.Partials = append(line.Partials, partialObject{
			Number: p.Number, Hz: Number(p.Hz), OffCents: Number(p.OffCents), SigmaCents: Number(p.SigmaCents), LevelDB: Number(p.LevelDB),
		})
	}
	return j.lines.write(&line)
}
