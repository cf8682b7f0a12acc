package journal

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// exchangeFormat is the version of the JSON Lines that Export writes; see docs/formats.md.
const exchangeFormat = 1

// The objects of an export. Times are RFC 3339 in UTC with milliseconds.
type (
	headLine struct {
		Type   string `json:"type"`
		Format int    `json:"format"`
	}
	sessionLine struct {
		Type       string    `json:"type"`
		UID        string    `json:"uid"`
		Kind       string    `json:"kind"`
		Started    stamp     `json:"started"`
		Ended      *stamp    `json:"ended"`
		Program    string    `json:"program"`
		Input      string    `json:"input"`
		RateHz     int       `json:"sample_rate_hz"`
		Clock      clockLine `json:"clock"`
		Instrument string    `json:"instrument"`
		Identity   string    `json:"identity"`
		Strings    []String  `json:"strings"`
		Tuning     string    `json:"tuning"`
		Reference  string    `json:"reference"`
		Plan       string    `json:"plan"`
		Note       string    `json:"note"`
		Data       string    `json:"data"`
	}
	clockLine struct {
		PPM      float64 `json:"ppm"`
		SigmaPPM float64 `json:"sigma_ppm"`
		By       string  `json:"by"`
	}
	readingLine struct {
		Type       string `json:"type"`
		Session    string `json:"session"`
		Seq        int    `json:"seq"`
		TimeS      number `json:"t_s"`
		File       string `json:"file"`
		String     int    `json:"string"`
		Fret       int    `json:"fret"`
		Harmonic   int    `json:"harmonic"`
		Label      string `json:"label"`
		TargetHz   number `json:"target_hz"`
		F1Hz       number `json:"f1_hz"`
		SigmaCents number `json:"f1_sigma_cents"`
		Cents      number `json:"cents"`
		AttackF1Hz number `json:"attack_f1_hz"`
		Partial1Hz number `json:"partial1_hz"`
		B          number `json:"inharmonicity"`
		SNRdB      number `json:"snr_db"`
		FromS      number `json:"from_s"`
		ToS        number `json:"to_s"`
		Mark       string `json:"mark"`
	}
	eventLine struct {
		Type       string `json:"type"`
		UID        string `json:"uid"`
		At         stamp  `json:"at"`
		Instrument string `json:"instrument"`
		Identity   string `json:"identity"`
		String     int    `json:"string"`
		Kind       string `json:"kind"`
		Text       string `json:"text"`
	}
)

// A stamp is a time in milliseconds since 1970.
type stamp int64

const stampLayout = "2006-01-02T15:04:05.000Z07:00"

func (s stamp) MarshalText() ([]byte, error) {
	return time.UnixMilli(int64(s)).UTC().AppendFormat(nil, stampLayout), nil
}

func (s *stamp) UnmarshalText(text []byte) error {
	t, err := time.Parse(time.RFC3339, string(text))
	if err != nil {
		return fmt.Errorf("%q is no time such as 2006-01-02T15:04:05.678Z", text)
	}
	*s = stamp(t.UnixMilli())
	return nil
}

// A number is a float64 that is null if it is not known.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

func (n *number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = number(math.NaN())
		return nil
	}
	return json.Unmarshal(text, (*float64)(n))
}

func lineOfSession(s *Session) *sessionLine {
	line := &sessionLine{
		Type: "session", UID: s.UID, Kind: s.Kind, Started: stamp(s.Started.UnixMilli()), Program: s.Program,
		Input: s.Input, RateHz: s.RateHz, Clock: clockLine(s.Clock), Instrument: s.Instrument, Identity: s.Identity, Strings: s.Strings,
		Tuning: s.Tuning, Reference: s.Reference, Plan: s.Plan, Note: s.Note, Data: s.Data,
	}
	if line.Strings == nil {
		line.Strings = []String{}
	}
	if !s.Ended.IsZero() {
		ended := stamp(s.Ended.UnixMilli())
		line.Ended = &ended
	}
	return line
}

func (l *sessionLine) session() Session {
	s := Session{
		UID: l.UID, Kind: l.Kind, Started: time.UnixMilli(int64(l.Started)), Program: l.Program,
		Input: l.Input, RateHz: l.RateHz, Clock: Clock(l.Clock), Instrument: l.Instrument, Identity: l.Identity, Strings: l.Strings,
		Tuning: l.Tuning, Reference: l.Reference, Plan: l.Plan, Note: l.Note, Data: l.Data,
	}
	if l.Ended != nil {
		s.Ended = time.UnixMilli(int64(*l.Ended))
	}
	return s.sanitized()
}

func lineOfReading(session string, seq int, r *Reading) *readingLine {
	line := &readingLine{
		Type: "reading", Session: session, Seq: seq, File: r.File, String: r.String, Fret: r.Fret,
		Harmonic: r.Harmonic, Label: r.Label, Mark: r.Mark,
	}
	for i, x := range line.numbers() {
		*x = number(*r.numbers()[i])
	}
	return line
}

func (l *readingLine) reading() Reading {
	r := Reading{File: l.File, String: l.String, Fret: l.Fret, Harmonic: l.Harmonic, Label: l.Label, Mark: l.Mark}
	for i, x := range r.numbers() {
		*x = float64(*l.numbers()[i])
	}
	return r.sanitized()
}

// numbers are the measured values in the order of Reading.numbers.
func (l *readingLine) numbers() [11]*number {
	return [...]*number{&l.TimeS, &l.TargetHz, &l.F1Hz, &l.SigmaCents, &l.Cents, &l.AttackF1Hz, &l.Partial1Hz,
		&l.B, &l.SNRdB, &l.FromS, &l.ToS}
}

func (l *eventLine) event() Event {
	return Event{UID: l.UID, At: time.UnixMilli(int64(l.At)), Instrument: l.Instrument, Identity: l.Identity, String: l.String, Kind: l.Kind, Text: l.Text}.sanitized()
}
