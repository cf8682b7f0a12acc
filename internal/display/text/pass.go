package text

import "tunerd/internal/display"

// nowFields say what a string is to be tuned to now, where strings pull on each other.
type nowFields struct {
	NowHz    Number `json:"tune_to_now_hz"`
	NowCents Number `json:"tune_to_now_cents"` // against the target
}

// fromNowFields say how a reading lies against that.
type fromNowFields struct {
	nowFields
	FromNowCents  Number `json:"from_now_cents"`
	FromNowBeatHz Number `json:"from_now_beat_hz"`
	NowState      string `json:"now_state"`
}

// fromNowOf is nil where there is no such advice.
func fromNowOf(f *display.Frame) *fromNowFields {
	if f.Now.Hz == 0 {
		return nil
	}
	return &fromNowFields{nowFields{Number(f.Now.Hz), Number(f.Now.Cents)}, Number(f.NowOff), Number(f.NowBeatHz), f.NowVerdict}
}

// passFields are those of a string in a list, where strings pull on each other.
type passFields struct {
	nowFields
	Turn          int    `json:"turn"` // place in the order, from 1; 0: to be left alone
	ForecastCents Number `json:"forecast_cents"`
	ForecastSigma Number `json:"forecast_sigma"`
}

// passOf is nil where there is no advice for the string.
func passOf(row *display.StringRow) *passFields {
	if row.Now.Hz == 0 {
		return nil
	}
	p := &passFields{nowFields{Number(row.Now.Hz), Number(row.Now.Cents)}, row.Turn, unknown, positive(row.ForecastSigma)}
	if row.ForecastSigma > 0 {
		p.ForecastCents = Number(row.ForecastCents)
	}
	return p
}

// A passObject says how far the tuning of strings that pull on each other has come.
type passObject struct {
	Phase   string `json:"phase"`
	Next    int    `json:"next"` // string, 0: none
	Left    int    `json:"left"` // strings to be turned
	Message string `json:"message"`
}

func passObjectOf(p display.Pass) *passObject {
	if p.Number == 0 {
		return nil
	}
	return &passObject{p.Phase, p.Next, p.Left, p.Words}
}

// A passLine is the advice for all strings.
type passLine struct {
	Type  string `json:"type"`
	TimeS Number `json:"t_s"`
	*passObject
	Strings []passString `json:"strings"`
}

type passString struct {
	String int    `json:"string"`
	Label  string `json:"label"`
	Hz     Number `json:"hz"`
	Hear   bool   `json:"hear"` // it is to be heard before there is more advice
	*passFields
}

func passLineOf(f *display.Frame) *passLine {
	line := &passLine{Type: "pass", TimeS: Number(f.TimeS), passObject: passObjectOf(f.Pass), Strings: []passString{}}
	for i := range f.Strings {
		row := &f.Strings[i]
		line.Strings = append(line.Strings, passString{row.Number, row.Label, Number(row.TargetHz), row.Hear, passOf(row)})
	}
	return line
}
