package text

import (
	"bytes"
	"strings"
	"testing"

	"tunerd/internal/display"
)

// chordFrame is a live frame of three invented strings, the first of them cents off, t seconds into
// the stream.
func chordFrame(t, onset, cents float64) *display.Frame {
	return &display.Frame{
		TimeS: t, OnsetS: onset, State: display.Sounding, AllStrings: true, WindowS: 0.5, LevelDB: -20,
		Strings: []display.StringRow{
			{Number: 1, Label: "A2", TargetHz: 110, Active: true, Read: true, F1Hz: 110.25, Cents: cents, Sigma: 0.1, BeatHz: 0.25,
				Inharmonicity: 1e-4, SNRdB: 30, Partial1Hz: 110.125, Verdict: "sharp"},
			{Number: 2, Label: "A3", TargetHz: 220, Read: true, Cents: 3, Sigma: 0.1, Hidden: true, Verdict: "hidden"},
			{Number: 3, Label: "E4", TargetHz: 330, Verdict: "silent"},
		},
	}
}

func TestStringsLine(t *testing.T) {
	var out bytes.Buffer
	show(t, NewReadings(&out, false), chordFrame(1.25, 0.5, 3.93))
	const want = `{"type":"strings","t_s":1.25,"start_s":0.5,"window_s":0.5,"level_db":-20,"strings":[` +
		`{"string":1,"label":"A2","hz":110,"state":"sharp","f1_hz":110.25,"f1_sigma_cents":0.1,"partial1_hz":110.125,"inharmonicity":0.0001,"snr_db":30,"cents":3.93,"cents_sigma":0.1,"beat_hz":0.25},` +
		`{"string":2,"label":"A3","hz":220,"state":"hidden","f1_hz":null,"f1_sigma_cents":null,"partial1_hz":null,"inharmonicity":null,"snr_db":null,"cents":null,"cents_sigma":null,"beat_hz":null},` +
		`{"string":3,"label":"E4","hz":330,"state":"silent","f1_hz":null,"f1_sigma_cents":null,"partial1_hz":null,"inharmonicity":null,"snr_db":null,"cents":null,"cents_sigma":null,"beat_hz":null}]}` + "\n"
	if out.String() != want {
		t.Errorf("got\n%swant\n%s", out.String(), want)
	}
}

// All strings are printed once they have settled, again when one has changed for certain, but not
// before two seconds have passed, and at the end of a chord that ended early.
func TestStringsAsLines(t *testing.T) {
	var out bytes.Buffer
	end := state(9, display.Silent)
	end.AllStrings = true
	show(t, NewLines(&out),
		chordFrame(0.5, 0, 4), chordFrame(1.1, 0, 4), chordFrame(2, 0, 9), chordFrame(3, 0, 4.1), chordFrame(3.2, 0, 6),
		chordFrame(5.3, 5, 1), end)
	var got []string
	for line := range strings.Lines(out.String()) {
		if strings.Contains(line, "A2") {
			got = append(got, strings.Join(strings.Fields(line)[:4], " "))
		}
	}
	want := []string{"1.10 s A2 +4.0", "3.20 s A2 +6.0", "5.30 s A2 +1.0"}
	if strings.Join(got, ", ") != strings.Join(want, ", ") {
		t.Errorf("lines of the first string: %q, want %q\n%s", got, want, out.String())
	}
	for _, word := range []string{"hidden", "silent", "string 3"} {
		if !strings.Contains(out.String(), word) {
			t.Errorf("no %q in\n%s", word, out.String())
		}
	}
}

func TestSilentStringInTheTable(t *testing.T) {
	var out bytes.Buffer
	table := NewNoteTable(&out)
	nan := float64(unknown)
	note := Note{F1Hz: nan, F1SigmaCents: nan, Cents: nan, CentsSigma: nan, BeatHz: nan, Inharmonicity: nan, SNRdB: nan,
		Target: &display.Target{Label: "E4", Hz: 329.6276, String: 1}, State: "silent"}
	if err := table.WriteNote(&note); err != nil {
		t.Fatal(err)
	}
	if err := table.Flush(); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "silent") || strings.Contains(out.String(), "?") || strings.Contains(out.String(), "NaN") {
		t.Errorf("a silent string reads\n%s", out.String())
	}
}
