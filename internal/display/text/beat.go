package text

import "tunerd/internal/display"

// A beatLine is how two strings beat, live.
type beatLine struct {
	Type       string `json:"type"`
	TimeS      Number `json:"t_s"`
	Lower      string `json:"lower"`
	Upper      string `json:"upper"`
	Ratio      string `json:"ratio"`
	NearHz     Number `json:"near_hz"`
	BeatHz     Number `json:"beat_hz"`
	SigmaHz    Number `json:"beat_sigma_hz"`
	OffCents   Number `json:"off_cents"`
	CentsSigma Number `json:"cents_sigma"`
	Side       string `json:"side"`
	Turn       string `json:"turn"`
	LowerCents Number `json:"lower_cents"`
	UpperCents Number `json:"upper_cents"`
	Method     string `json:"method"`
	OtherHz    Number `json:"other_beat_hz"`
	OtherSigma Number `json:"other_beat_sigma_hz"`
}

func beatLineOf(f *display.Frame) *beatLine {
	b := &f.Beat
	return &beatLine{
		"measured_beat", Number(f.TimeS), b.Lower, b.Upper, b.Ratio, Number(b.NearHz), Number(b.BeatHz), Number(b.SigmaHz),
		Number(b.Cents), Number(b.CentsSigma), b.Side, b.Turn, Number(b.LowerCents), Number(b.UpperCents), b.Method,
		Number(b.OtherHz), Number(b.OtherSigma),
	}
}

// BeatListing lists measured beats, of recordings, with the same fields.
func BeatListing(measured []MeasuredBeat) *Listing {
	l := &Listing{Type: "measured_beat", Columns: []Column{
		{Name: "file", Title: "file"}, {Name: "start_s", Title: "from s", Decimals: 2}, {Name: "end_s", Title: "to s", Decimals: 2},
		{Name: "lower", Title: "lower"}, {Name: "upper", Title: "upper"}, {Name: "ratio", Title: "ratio"},
		{Name: "near_hz", Title: "near Hz", Decimals: 1},
		{Name: "beat_hz", Title: "beats/s", Decimals: 3}, {Name: "beat_sigma_hz", Title: "±", Decimals: 4, Sigma: true},
		{Name: "expected_beat_hz", Title: "expected", Decimals: 2, Signed: true},
		{Name: "off_cents", Title: "cents", Decimals: 2, Signed: true}, {Name: "cents_sigma"},
		{Name: "side", Title: "interval"}, {Name: "turn", Title: "turn"},
		{Name: "lower_cents"}, {Name: "upper_cents"}, {Name: "method"},
		{Name: "other_beat_hz"}, {Name: "other_beat_sigma_hz"},
	}}
	for _, m := range measured {
		b := &m.Beat
		l.Rows = append(l.Rows, []any{m.File, m.StartS, m.EndS, b.Lower, b.Upper, b.Ratio, b.NearHz, b.BeatHz, b.SigmaHz, m.ExpectedHz,
			b.Cents, b.CentsSigma, b.Side, b.Turn, b.LowerCents, b.UpperCents, b.Method, b.OtherHz, b.OtherSigma})
	}
	return l
}

// A MeasuredBeat is a beat in a recording.
type MeasuredBeat struct {
	display.Beat
	File         string
	StartS, EndS float64 // of the sound looked at
	ExpectedHz   float64 // beats a second of the notes as they were given
}
