package journal

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"tunerd/internal/display"
)

// note returns frames every 10 ms of a string of 110 Hz whose deviation follows cents(s since the
// onset), then silence.
func note(onsetS, lengthS float64, cents, sigma func(s float64) float64) []display.Frame {
	var frames []display.Frame
	for s := 0.1; s < lengthS; s += 0.01 {
		frames = append(frames, display.Frame{
			TimeS: onsetS + s, OnsetS: onsetS, State: display.Sounding,
			F1Hz: 110 * math.Exp2(cents(s)/1200), Cents: cents(s), SigmaCents: sigma(s),
			Target: display.Target{Label: "A2", Hz: 110, String: 5},
		})
	}
	return append(frames, display.Frame{TimeS: onsetS + lengthS, State: display.Silent})
}

func constant(x float64) func(float64) float64 { return func(float64) float64 { return x } }

func TestLiveKeepsEachNoteAsFoundAndAsLeft(t *testing.T) {
	turned := func(s float64) float64 { return math.Min(-20+10*s, 0) } // in tune after 2 s
	type kept struct{ afterS, cents float64 }
	for _, c := range []struct {
		name   string
		frames []display.Frame
		want   []kept
	}{
		{"steady", note(1, 3, constant(2), constant(0.1)), []kept{{0.5, 2}}},
		{"short", note(1, 0.3, constant(2), constant(0.1)), []kept{{0.29, 2}}},
		{"peg turned", note(1, 3, turned, constant(0.1)), []kept{{0.5, -15}, {2.99, 0}}},
		{"changes less than its uncertainty", note(1, 3, turned, constant(10)), []kept{{0.5, -15}}},
		{"dies away", note(1, 3, constant(2), func(s float64) float64 { return 0.1 * math.Exp(s) }), []kept{{0.5, 2}}},
		{"peg turned, then dies away", note(1, 4, turned, func(s float64) float64 {
			if s < 2.5 {
				return 0.1
			}
			return 5
		}), []kept{{0.5, -15}, {2.49, 0}}},
		{"two notes", append(note(1, 2, constant(1), constant(0.1)), note(5, 2, constant(1), constant(0.1))...), []kept{{0.5, 1}, {4.5, 1}}},
		{"nothing", []display.Frame{{State: display.Silent}, {State: display.Unsure}, {State: display.Ended}}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			j := openNew(t)
			rec := j.Begin(Session{}, nil)
			live := NewLive(rec)
			for i := range c.frames {
				if err := live.Show(&c.frames[i]); err != nil {
					t.Fatal(err)
				}
			}
			live.End()
			live.End() // ends nothing twice
			if err := rec.Close(); err != nil {
				t.Fatal(err)
			}
			list, err := j.Readings(t.Context(), rec.ID())
			if err != nil && (len(c.want) > 0 || !errors.Is(err, ErrNoSession)) {
				t.Fatal(err)
			}
			var got []kept
			for _, r := range list {
				got = append(got, kept{r.TimeS - 1, r.Cents})
			}
			if len(got) != len(c.want) {
				t.Fatalf("kept %v, want %v", got, c.want)
			}
			for i := range got {
				if math.Abs(got[i].afterS-c.want[i].afterS) > 0.011 || math.Abs(got[i].cents-c.want[i].cents) > 0.2 {
					t.Errorf("kept %v, want %v", got, c.want)
				}
			}
		})
	}
}

// TestLiveKeepsAllStringsOfAChord: frames without a target of their own have readings by string.
func TestLiveKeepsAllStringsOfAChord(t *testing.T) {
	j := openNew(t)
	rec := j.Begin(Session{}, nil)
	live := NewLive(rec)
	for i := 1; i < 20; i++ {
		s := float64(i) / 10
		row := func(n int, cents float64, active bool) display.StringRow {
			return display.StringRow{Number: n, Label: "x", TargetHz: 110, F1Hz: 110 * math.Exp2(cents/1200), Cents: cents, Sigma: 0.1, AtS: 3 + s, Read: true, Active: active}
		}
		f := display.Frame{TimeS: 3 + s, OnsetS: 3, State: display.Sounding, Strings: []display.StringRow{
			row(1, 5, true), row(2, -20+10*s, true), row(3, 7, false), {Number: 4, TargetHz: 110},
		}}
		if err := live.Show(&f); err != nil {
			t.Fatal(err)
		}
	}
	live.End()
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	list, err := j.Readings(t.Context(), rec.ID())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range list {
		got = append(got, fmt.Sprintf("string %d at %.1f: %+.0f", r.String, r.TimeS, r.Cents))
	}
	want := []string{"string 1 at 3.5: +5", "string 2 at 3.5: -15", "string 2 at 4.9: -1"}
	if !slices.Equal(got, want) {
		t.Errorf("kept %q, want %q", got, want)
	}
}

// What does not seem to be the string that is held is shown, never kept; what is followed after all is.
func TestLiveKeepsNoOtherStringThanTheHeldOne(t *testing.T) {
	j := openNew(t)
	rec := j.Begin(Session{}, nil)
	live := NewLive(rec)
	frames := note(1, 3, constant(-1900), constant(0.1))
	for i := range frames {
		frames[i].Standing = display.Doubted
	}
	wound := note(5, 3, func(s float64) float64 { return -900 + 100*s }, constant(0.1))
	for i := range wound {
		if wound[i].Standing = display.Confirmed; wound[i].TimeS < 6.5 {
			wound[i].Standing = display.Doubted
		}
	}
	for _, f := range append(frames, wound...) {
		if err := live.Show(&f); err != nil {
			t.Fatal(err)
		}
	}
	live.End()
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	readings, err := j.Readings(t.Context(), rec.ID())
	if err != nil {
		t.Fatal(err)
	}
	if len(readings) != 2 || readings[0].TimeS < 6.5 || math.Abs(readings[1].Cents+601) > 1 {
		t.Errorf("kept %+v, want the string as it was when it was confirmed and as it was left", readings)
	}
}
