package text

import (
	"encoding/json"
	"time"

	"tunerd/internal/display"
)

// A Messages makes the messages of a live stream out of frames: the same figures as [Readings],
// with the strobe. Each is one JSON object without a line feed.
type Messages struct {
	Now   func() time.Time // the clock that Frame.Arrived was read from
	watch watch
}

type frameMessage struct {
	Type     string `json:"type"`
	TimeS    Number `json:"t_s"`
	AgeS     Number `json:"age_s"`
	Hears    string `json:"hears"`
	LevelDB  Number `json:"level_db"`
	NewNote  bool   `json:"new_note"`
	AfterGap bool   `json:"after_gap"`
	Gaps     int    `json:"gaps"`
	Message  string `json:"message"`
	All      bool   `json:"all_strings"`
	StartS   Number `json:"start_s"`
	pitchFields
	targetFields
	*fromNowFields
	Bands []bandObject `json:"bands"`
	Rows  string       `json:"rows"`
}

type bandObject struct {
	Partial    int    `json:"partial"`
	TargetHz   Number `json:"target_hz"`
	PhaseTurns Number `json:"phase_turns"`
	DriftHz    Number `json:"drift_hz"`
	LevelDB    Number `json:"level_db"`
	Clear      bool   `json:"clear"`
}

// Frame returns the frame message of f.
func (m *Messages) Frame(f *display.Frame) ([]byte, error) {
	msg := frameMessage{
		Type: "frame", TimeS: Number(f.TimeS), AgeS: unknown, Hears: string(f.State), LevelDB: unknown,
		NewNote: f.NewOnset, AfterGap: f.AfterGap, Gaps: f.Gaps, Message: f.Message, All: f.AllStrings, StartS: unknown,
		pitchFields:  pitchFields{F1Hz: unknown, F1SigmaCents: unknown, AttackF1Hz: unknown, Partial1Hz: unknown, Inharmonicity: unknown, SNRdB: unknown},
		targetFields: targetOf(nil, 0, 0, 0, ""),
		Bands:        make([]bandObject, len(f.Bands)),
		Rows:         string(f.Rows),
	}
	if !f.Arrived.IsZero() {
		msg.AgeS, msg.LevelDB = Number(m.Now().Sub(f.Arrived).Seconds()), Number(f.LevelDB)
	}
	if f.State == display.Sounding {
		msg.StartS = Number(f.OnsetS)
	}
	if f.State == display.Sounding && !f.AllStrings {
		msg.pitchFields = pitchOf(f)
		msg.targetFields = targetOf(&f.Target, f.Cents, f.SigmaCents, f.BeatHz, f.Verdict)
		msg.doubt(f.Standing, f.Seems, f.SeemsCents)
		msg.fromNowFields = fromNowOf(f)
	}
	for i, b := range f.Bands {
		msg.Bands[i] = bandObject{b.Partial, positive(b.TargetHz), Number(b.PhaseTurns), Number(b.DriftHz), Number(b.LevelDB), b.Clear}
	}
	return json.Marshal(&msg)
}

type stringsMessage struct {
	Type    string         `json:"type"`
	TimeS   Number         `json:"t_s"`
	Held    int            `json:"held"`
	All     bool           `json:"all_strings"`
	WindowS Number         `json:"window_s"`
	Pass    *passObject    `json:"pass"`
	Strings []stringObject `json:"strings"`
}

type stringObject struct {
	String     int     `json:"string"`
	Label      string  `json:"label"`
	Hz         Number  `json:"hz"`
	Read       bool    `json:"read"`
	Cents      Number  `json:"cents"`
	CentsSigma Number  `json:"cents_sigma"`
	AtS        Number  `json:"at_s"`
	Active     bool    `json:"active"`
	Held       bool    `json:"held"`
	State      *string `json:"state"`
	F1Hz       Number  `json:"f1_hz"`
	BeatHz     Number  `json:"beat_hz"`
	Hear       bool    `json:"hear,omitempty"`
	*passFields
}

// Strings returns the message with the list of strings of f.
func (m *Messages) Strings(f *display.Frame) ([]byte, error) {
	msg := stringsMessage{
		Type: "strings", TimeS: Number(f.TimeS), All: f.AllStrings, WindowS: positive(f.WindowS), Pass: passObjectOf(f.Pass), Strings: make([]stringObject, len(f.Strings)),
	}
	for i := range f.Strings {
		msg.Strings[i] = rowObject(&f.Strings[i], f.AllStrings)
		if f.Strings[i].Held {
			msg.Held = f.Strings[i].Number
		}
	}
	return json.Marshal(&msg)
}

// rowObject is a row of the list; all tells whether all strings are read at once.
func rowObject(row *display.StringRow, all bool) stringObject {
	s := stringObject{
		String: row.Number, Label: row.Label, Hz: Number(row.TargetHz), Read: row.Read,
		Cents: unknown, CentsSigma: unknown, AtS: unknown, Active: row.Active, Held: row.Held,
		F1Hz: unknown, BeatHz: unknown, Hear: row.Hear, passFields: passOf(row),
	}
	if row.Read {
		s.Cents, s.CentsSigma, s.AtS = Number(row.Cents), Number(row.Sigma), Number(row.AtS)
	}
	if all {
		s.State = &row.Verdict
	}
	if all && row.Active {
		s.F1Hz, s.BeatHz = Number(row.F1Hz), Number(row.BeatHz)
	}
	return s
}

type noticeMessage struct {
	Type    string `json:"type"`
	TimeS   Number `json:"t_s"`
	Event   string `json:"event"`
	Hears   string `json:"hears"`
	Gaps    int    `json:"gaps"`
	Message string `json:"message"`
}

// Notice returns a message about what happened to the input between the frame that Notice had
// before and f; nil if nothing did. Of several things it names the last, but an input that is back
// before the gap that it leaves, or what sounds at once.
func (m *Messages) Notice(f *display.Frame) ([]byte, error) {
	event := ""
	for _, e := range m.watch.events(f) {
		if e == "silence" || event == inputBack && e != "end" {
			continue
		}
		event = e
	}
	if event == "" && f.Message != "" {
		event = "message"
		if f.Rings {
			event = "ringing"
		}
	}
	if event == "" {
		return nil, nil
	}
	return json.Marshal(&noticeMessage{"notice", Number(f.TimeS), event, string(f.State), f.Gaps, f.Message})
}
