package text

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"tunerd/internal/display"
)

// frame is a live frame of an invented A2, cents off, t seconds into the stream.
func frame(t, onset, cents float64) *display.Frame {
	f := &display.Frame{
		TimeS: t, State: display.Sounding, OnsetS: onset, SigmaCents: 0.1, SNRdB: 40, LevelDB: -20,
		Target: display.Target{Label: "A2", Hz: 110, String: 5}, Cents: cents, Verdict: "sharp",
		Bands: []display.Band{{Partial: 1, TargetHz: 110, DriftHz: 0.25, LevelDB: -21, Clear: true}, {Partial: 2}},
	}
	f.F1Hz = 110 * math.Exp2(cents/1200)
	f.BeatHz = f.F1Hz - 110
	return f
}

func state(t float64, s display.State) *display.Frame { return &display.Frame{TimeS: t, State: s} }

func show(t *testing.T, sink interface{ Show(*display.Frame) error }, frames ...*display.Frame) {
	t.Helper()
	for _, f := range frames {
		if err := sink.Show(f); err != nil {
			t.Fatal(err)
		}
	}
}

func TestReadingLine(t *testing.T) {
	var out bytes.Buffer
	f := frame(1.25, 0.5, 0)
	f.F1Hz, f.BeatHz, f.Cents = 110.25, 0.25, 3.93
	show(t, NewReadings(&out, true), f)
	const want = `{"type":"reading","t_s":1.25,"start_s":0.5,` +
		`"f1_hz":110.25,"f1_sigma_cents":0.1,"attack_f1_hz":null,"partial1_hz":null,"inharmonicity":0,"snr_db":40,"level_db":-20,` +
		`"target":{"label":"A2","hz":110,"step":0,"string":5,"fret":0},` +
		`"cents":3.93,"cents_sigma":0.1,"beat_hz":0.25,"state":"sharp",` +
		`"partials":[{"number":1,"hz":110.25,"off_cents":null,"sigma_cents":null,"level_db":-21,"target_hz":110,"drift_hz":0.25}]}` + "\n"
	if out.String() != want {
		t.Errorf("got\n%swant\n%s", out.String(), want)
	}
}

func TestEvents(t *testing.T) {
	var out bytes.Buffer
	gap := frame(3, 3, 1)
	gap.AfterGap, gap.Gaps, gap.Message = true, 1, "0.1 s of sound lost"
	bell, still := state(2.1, display.Unsure), state(2.2, display.Unsure)
	bell.Rings, bell.Message, still.Rings = true, "440.0, 1045.0 Hz", true
	show(t, NewReadings(&out, false), state(0, display.Silent), state(0.1, display.Silent), state(0.2, display.Unsure),
		frame(0.3, 0.2, 1), state(1, display.Silent), bell, still, state(2.3, display.Lost), state(2.5, display.Lost),
		gap, state(4, display.Unsure), state(5, display.Ended), state(5, display.Ended))
	var got []string
	for line := range strings.Lines(out.String()) {
		var l struct {
			Type, Event, State, Message string
			Gaps                        int
		}
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatalf("%v: %s", err, line)
		}
		got = append(got, strings.TrimSpace(l.Type+" "+l.Event+" "+l.Message))
	}
	want := []string{"event silence", "reading", "event silence", "event ringing 440.0, 1045.0 Hz", "event input lost",
		"event input back 0.1 s of sound lost", "event gap 0.1 s of sound lost", "reading", "event end"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("lines\n%q, want\n%q", got, want)
	}
}

// A stream that is joined while something rings tells so with the next message; Readings tell it once.
func TestNoticesOfARing(t *testing.T) {
	var m Messages
	bell, still, greeting := state(1, display.Unsure), state(2, display.Unsure), state(3, display.Silent)
	bell.Rings, bell.Message, still.Rings, greeting.Message = true, "440.0, 1045.0 Hz", true, "hello"
	for i, c := range []struct {
		f    *display.Frame
		want string
	}{{bell, "ringing"}, {still, ""}, {bell, "ringing"}, {greeting, "message"}} {
		b, err := m.Notice(c.f)
		if err != nil {
			t.Fatal(err)
		}
		var got struct{ Event, Message string }
		if b != nil {
			err = json.Unmarshal(b, &got)
		}
		if err != nil || got.Event != c.want || got.Message != c.f.Message {
			t.Errorf("notice %d is %s (%v), want event %q and message %q", i, b, err, c.want, c.f.Message)
		}
	}
}

// One line a settled note, another for a real change, none for noise or a state that goes on.
func TestLines(t *testing.T) {
	var out bytes.Buffer
	l := NewLines(&out)
	feed := func(from, to, onset float64, cents func(t float64) float64) {
		for i := math.Round(from * 100); i < to*100; i++ {
			show(t, l, frame(i/100, onset, cents(i/100)))
		}
	}
	show(t, l, state(0, display.Silent))
	feed(1, 4, 1, func(t float64) float64 { return 2 + 0.1*math.Sin(40*t) }) // steady: one line
	show(t, l, state(4, display.Silent))
	feed(5, 8, 5, func(t float64) float64 { // turned up by 3 cents at 7 s: two lines
		if t < 7 {
			return 1
		}
		return 4
	})
	feed(8, 8.2, 8, func(float64) float64 { return 9 })      // too short to settle, cut off by a new note: one line
	feed(8.2, 8.4, 8.2, func(float64) float64 { return -3 }) // the same, cut off by silence
	show(t, l, state(8.4, display.Silent), state(9, display.Lost), state(12, display.Silent))
	late := state(12.5, display.Silent)
	late.Message = "next scene:\x1b[2J a chord"
	show(t, l, late, state(13, display.Ended))

	const want = `     1.50 s  A2        +2.0 ± 0.1 cents    sharp     110.125 Hz    beat +0.125 Hz  string 5
     5.50 s  A2        +1.0 ± 0.1 cents    sharp     110.064 Hz    beat +0.064 Hz  string 5
     7.00 s  A2        +4.0 ± 0.1 cents    sharp     110.254 Hz    beat +0.254 Hz  string 5
     8.19 s  A2        +9.0 ± 0.1 cents    sharp     110.573 Hz    beat +0.573 Hz  string 5
     8.39 s  A2        -3.0 ± 0.1 cents    sharp     109.810 Hz    beat -0.190 Hz  string 5
     9.00 s  -- input lost
    12.00 s  -- input back
    12.50 s  -- next scene:·[2J a chord
    13.00 s  -- end of the input
`
	if got := out.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

// doubt is A2 that sounds while E4 is held.
func doubt(t float64) *display.Frame {
	f := frame(t, 1, 0)
	f.Target, f.Cents, f.Verdict = display.Target{Label: "E4", Hz: 329.63, Step: -5, String: 1}, -1900, "other string"
	f.Standing, f.Seems, f.SeemsCents, f.Bands = display.Doubted, display.Target{Label: "A2", Hz: 110, Step: -24, String: 5}, 2.4, nil
	return f
}

// Whoever holds E4 and plays A2 is told so, in all forms, and never that E4 is flat.
func TestAnotherStringThanTheHeldOne(t *testing.T) {
	var lines, readings bytes.Buffer
	l, r := NewLines(&lines), NewReadings(&readings, false)
	for s := 1.0; s < 4; s += 0.1 {
		show(t, l, doubt(s))
	}
	show(t, r, doubt(2))
	if want := "     1.50 s  -- 110.000 Hz sounds like string 5 (A2), +2 cents from it; held is string 1 (E4)\n"; lines.String() != want {
		t.Errorf("lines %q, want %q", lines.String(), want)
	}
	m := Messages{Now: time.Now}
	frame, err := m.Frame(doubt(2))
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string][]byte{"reading": readings.Bytes(), "frame": frame} {
		var got struct {
			State, Standing string
			Seems           struct {
				String int
				Label  string
				Cents  float64
			}
		}
		if err := json.Unmarshal(text, &got); err != nil {
			t.Fatal(err)
		}
		if got.State != "other string" || got.Standing != "doubted" || got.Seems.String != 5 || got.Seems.Label != "A2" || got.Seems.Cents != 2.4 {
			t.Errorf("%s: %s", name, text)
		}
	}
}

// The terms of σ are written where they are known, those that are 0 left out.
func TestSigmaTerms(t *testing.T) {
	terms := display.SigmaTerms{Noise: 0.03, Scatter: 0.04}
	const want = `"f1_sigma_cents":0.05,"sigma_terms":{"noise":0.03,"scatter":0.04},"attack_f1_hz"`
	var out strings.Builder
	if err := NewReadings(&out, false).Show(&display.Frame{State: display.Sounding, F1Hz: 110, SigmaCents: 0.05, SigmaTerms: terms}); err != nil {
		t.Fatal(err)
	}
	if err := NewNoteJSON(&out).WriteNote(&Note{F1Hz: 110, F1SigmaCents: 0.05, SigmaTerms: terms}); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(out.String(), want); n != 2 {
		t.Errorf("%d of 2 lines have %s:\n%s", n, want, out.String())
	}
	out.Reset()
	if err := NewNoteJSON(&out).WriteNote(&Note{F1Hz: 110, F1SigmaCents: 0.05}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(out.String(), "sigma_terms") {
		t.Errorf("terms are told that are not known: %s", out.String())
	}
}

// What strings are to be tuned to now is written in all forms, and only where there is such advice.
func TestTuneToNow(t *testing.T) {
	f := frame(1.5, 0.5, -20)
	f.Pass = display.Pass{Number: 3, Phase: "turn", Next: 5, Left: 2, Words: "tune string 5 (A2) to +11.8 cents now"}
	f.Now = display.Now{Hz: 110.752, Cents: 11.8}
	f.NowOff, f.NowBeatHz, f.NowVerdict = -31.8, -2.02, "flat"
	f.Strings = []display.StringRow{{Number: 5, Label: "A2", TargetHz: 110, Now: f.Now, Turn: 1, ForecastCents: 0.1, ForecastSigma: 0.4}, {Number: 6, Label: "E2", TargetHz: 82.41, Hear: true}}
	var out, lines bytes.Buffer
	show(t, NewReadings(&out, false), f, frame(1.6, 0.5, -20))
	show(t, NewLines(&lines), f, f)
	all := strings.Split(out.String(), "\n")
	for i, want := range []string{
		`{"type":"pass","t_s":1.5,"phase":"turn","next":5,"left":2,"message":"tune string 5 (A2) to +11.8 cents now","strings":[{"string":5,"label":"A2","hz":110,"hear":false,` +
			`"tune_to_now_hz":110.752,"tune_to_now_cents":11.8,"turn":1,"forecast_cents":0.1,"forecast_sigma":0.4},` +
			`{"string":6,"label":"E2","hz":82.41,"hear":true}]}`,
		`"state":"sharp","tune_to_now_hz":110.752,"tune_to_now_cents":11.8,"from_now_cents":-31.8,"from_now_beat_hz":-2.02,"now_state":"flat"}`,
	} {
		if !strings.HasSuffix(all[i], want) {
			t.Errorf("line %d is %s\nwant at its end %s", i, all[i], want)
		}
	}
	if want := "     1.50 s  -- tune string 5 (A2) to +11.8 cents now\n"; !strings.HasPrefix(lines.String(), want) || !strings.Contains(lines.String(), "string 5  tune to now 110.752 Hz, +11.8 cents\n") || strings.Count(lines.String(), "--") != 1 {
		t.Errorf("lines are\n%s", lines.String())
	}
	plain := frame(1, 0, 1)
	plain.Strings = []display.StringRow{{Number: 1}}
	var none bytes.Buffer
	show(t, NewReadings(&none, false), plain)
	m := Messages{Now: time.Now}
	bare, err := m.Strings(plain)
	if err != nil || strings.Contains(none.String()+string(bare), "tune_to_now") || !strings.Contains(string(bare), `"pass":null`) {
		t.Errorf("%s %s", none.String(), bare)
	}
	advised, err := m.Strings(f)
	if err != nil || !strings.Contains(string(advised), `"pass":{"phase":"turn","next":5,"left":2,"message":`) || !strings.Contains(string(advised), `"turn":1,"forecast_cents":0.1`) {
		t.Errorf("%s, %v", advised, err)
	}
}
