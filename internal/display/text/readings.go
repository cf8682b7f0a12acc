package text

import (
	"io"

	"tunerd/internal/display"
)

type readingLine struct {
	Type   string `json:"type"`
	TimeS  Number `json:"t_s"`
	StartS Number `json:"start_s"`
	pitchFields
	LevelDB Number       `json:"level_db"`
	Clock   *clockObject `json:"clock,omitempty"`
	targetFields
	*fromNowFields
}

type eventLine struct {
	Type    string `json:"type"`
	TimeS   Number `json:"t_s"`
	Event   string `json:"event"`
	State   string `json:"state"`
	Gaps    int    `json:"gaps"`
	Message string `json:"message"`
}

// Readings writes live frames as JSON Lines: a reading for every frame with a pitch, or with all
// strings, and events.
type Readings struct {
	lines    *lineWriter
	partials bool
	watch    watch
	pass     int // number of the advice that was written last
}

// NewReadings returns a writer of live frames to w, with the partials of the strobe if wanted.
func NewReadings(w io.Writer, partials bool) *Readings {
	return &Readings{lines: newLineWriter(w), partials: partials}
}

// Show writes what is new in f and keeps nothing of it.
func (r *Readings) Show(f *display.Frame) error {
	for _, event := range r.watch.events(f) {
		line := eventLine{"event", Number(f.TimeS), event, string(f.State), f.Gaps, f.Message}
		if err := r.lines.write(&line); err != nil {
			return err
		}
	}
	if f.Beat.Fresh && f.Beat.Lower != "" {
		if err := r.lines.write(beatLineOf(f)); err != nil {
			return err
		}
	}
	if f.Pass.Number != 0 && f.Pass.Number != r.pass {
		r.pass = f.Pass.Number
		if err := r.lines.write(passLineOf(f)); err != nil {
			return err
		}
	}
	if f.State != display.Sounding {
		return nil
	}
	if f.AllStrings {
		return r.lines.write(stringsOf(f))
	}
	return r.lines.write(r.reading(f))
}

func (r *Readings) reading(f *display.Frame) *readingLine {
	line := &readingLine{
		Type: "reading", TimeS: Number(f.TimeS), StartS: Number(f.OnsetS),
		pitchFields:  pitchOf(f),
		LevelDB:      Number(f.LevelDB),
		Clock:        clockOf(f.Clock),
		targetFields: targetOf(&f.Target, f.Cents, f.SigmaCents, f.BeatHz, f.Verdict),

		fromNowFields: fromNowOf(f),
	}
	line.doubt(f.Standing, f.Seems, f.SeemsCents)
	for i := range f.Bands {
		if b := &f.Bands[i]; r.partials && b.Clear {
			target, drift := Number(b.TargetHz), Number(b.DriftHz)
			line.Partials = append(line.Partials, partialObject{
				Number: b.Partial, Hz: Number(b.TargetHz + b.DriftHz), OffCents: unknown, SigmaCents: unknown, LevelDB: Number(b.LevelDB),
				TargetHz: &target, DriftHz: &drift,
			})
		}
	}
	return line
}

func pitchOf(f *display.Frame) pitchFields {
	return pitchFields{
		F1Hz: Number(f.F1Hz), F1SigmaCents: Number(f.SigmaCents), SigmaTerms: termsOf(f.SigmaTerms),
		AttackF1Hz: positive(f.AttackF1Hz), Partial1Hz: positive(f.Partial1Hz),
		Inharmonicity: Number(f.Inharmonicity), SNRdB: Number(f.SNRdB),
	}
}

// A watch finds the events in a sequence of frames.
type watch struct {
	begun bool
	rings bool
	state display.State
	gaps  int
	found [4]string // what events returns, reused
}

// inputBack is the event of an input that was lost and delivers again.
const inputBack = "input back"

// events returns what has happened from the frame before to f.
func (w *watch) events(f *display.Frame) []string {
	found := w.found[:0]
	entered := !w.begun || f.State != w.state
	if w.begun && w.state == display.Lost && entered {
		found = append(found, inputBack)
	}
	if f.AfterGap || f.Gaps > w.gaps {
		found = append(found, "gap")
	}
	if f.Rings && !w.rings {
		found = append(found, "ringing")
	}
	switch {
	case !entered:
	case f.State == display.Several && f.Pair == display.Pair{}:
		found = append(found, "several notes")
	case f.State == display.Lost:
		found = append(found, "input lost")
	case f.State == display.Ended:
		found = append(found, "end")
	case f.State == display.Silent:
		found = append(found, "silence")
	}
	w.begun, w.rings, w.state, w.gaps = true, f.Rings, f.State, f.Gaps
	return found
}
