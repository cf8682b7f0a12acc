package journal

import (
	"math"
	"slices"
	"testing"
	"time"
)

var day0 = time.UnixMilli(1.7e12).UTC()

func day(n float64) time.Time { return day0.Add(time.Duration(n * 24 * float64(time.Hour))) }

// sitting keeps a session on a day in which each string is found so many cents off 110 Hz, and is
// then tuned to 0.
func sitting(t *testing.T, j *Journal, onDay float64, strings []String, found ...float64) {
	t.Helper()
	var readings []Reading
	for i, c := range found {
		for k, c := range []float64{c, c / 2, 0} {
			readings = append(readings, Reading{
				TimeS: float64(10*i + k), String: i + 1, Label: "A2", TargetHz: 110, Cents: c, F1Hz: 110 * math.Exp2(c/1200), SigmaCents: 0.1,
			})
		}
	}
	// What says nothing about an open string.
	readings = append(readings, Reading{String: 1, Fret: 3, F1Hz: 130}, Reading{String: 1, Harmonic: 2, F1Hz: 220},
		Reading{String: 1, F1Hz: 115, Mark: "left out"}, Reading{F1Hz: 117})
	keep(t, j, Session{Instrument: "guitar", Started: day(onDay), Strings: strings}, readings...)
}

func drift(t *testing.T, j *Journal) *Drift {
	t.Helper()
	d, err := j.Drift(t.Context(), []Instrument{{Name: "guitar"}}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestDriftTellsWhichStringNeverSettles has four strings of known habits.
func TestDriftTellsWhichStringNeverSettles(t *testing.T) {
	j := openNew(t)
	settling := []float64{-20, -16, -9, -5, -3, -2}
	for i, late := range settling {
		sitting(t, j, float64(i), nil, []float64{-30, -0.2, 0.1, 0, 0.3, -0.1}[i], late, []float64{-4, 5, -6, 4, -5, 6}[i], 0.4*float64(i%2))
	}
	keep(t, j, Session{Instrument: "other", Started: day(2)}, Reading{String: 1, F1Hz: 111})
	d := drift(t, j)
	if len(d.Strings) != 4 || len(d.Restrung) != 0 {
		t.Fatalf("%d strings, restrung %v", len(d.Strings), d.Restrung)
	}
	for i, want := range []string{Settled, Settling, NeverSettles, Settled} {
		s := d.Strings[i]
		if s.Number != i+1 || s.Label != "A2" || s.Verdict != want || len(s.Sittings) != 6 || len(s.Moves) != 5 {
			t.Errorf("string %d: %+v, want %q", i+1, s, want)
		}
	}
	// The moves of string 2 are what it was found with, as it was left at 0.
	for i, m := range d.Strings[1].Moves {
		if math.Abs(m.Cents-settling[i+1]) > 1e-9 || math.Abs(m.SigmaCents-0.1*math.Sqrt2) > 1e-12 || m.Retuned {
			t.Errorf("move %d: %+v, want %g cents", i, m, settling[i+1])
		}
		if m.From != day(float64(i)).Add(12*time.Second) || m.To != day(float64(i+1)).Add(10*time.Second) {
			t.Errorf("move %d from %v to %v", i, m.From, m.To)
		}
	}
	if got := d.Strings[2].Typical; math.Abs(got-math.Sqrt((25.+36+16+25+36)/5)) > 1e-9 {
		t.Errorf("typical move %g cents", got)
	}
}

func TestNewStringsBeginAnew(t *testing.T) {
	j := openNew(t)
	for i, c := range []float64{-6, 5, -6, 5} {
		sitting(t, j, float64(i), nil, c, c)
	}
	if _, err := j.AddEvent(t.Context(), Event{Instrument: "guitar", At: day(3.5), String: 2, Kind: NewStrings, Text: "light"}); err != nil {
		t.Fatal(err)
	}
	if _, err := j.AddEvent(t.Context(), Event{Instrument: "guitar", At: day(3.6), Kind: Remark}); err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		sitting(t, j, float64(4+i), nil, 5, []float64{-40, 0.2, -0.3}[i])
	}
	d := drift(t, j)
	if len(d.Restrung) != 1 || d.Restrung[0].String != 2 || d.Restrung[0].Text != "light" {
		t.Errorf("restrung %+v", d.Restrung)
	}
	if got := d.Strings[0].Verdict; got != NeverSettles {
		t.Errorf("string 1: %s", got)
	}
	two := d.Strings[1]
	if two.Verdict != Settled || two.Since != day(3.5) || !two.Moves[3].Retuned || two.Typical > 0.3 {
		t.Errorf("string 2: %+v", two)
	}
}

// TestAnotherGaugeIsANewString: what the sessions say of their strings tells of a change that
// nobody has noted.
func TestAnotherGaugeIsANewString(t *testing.T) {
	j := openNew(t)
	light, heavy := []String{{Number: 1, GaugeMM: 0.229}, {Number: 2, GaugeMM: 0.279}}, []String{{Number: 1, GaugeMM: 0.254, Material: "steel"}, {Number: 2, GaugeMM: 0.279}}
	sitting(t, j, 0, light, 0, 0)
	sitting(t, j, 1, nil, 0, 0) // nothing known
	sitting(t, j, 2, heavy, -30, 1)
	sitting(t, j, 3, heavy, -3, 1)
	d := drift(t, j)
	if len(d.Restrung) != 1 || d.Restrung[0].String != 1 || d.Restrung[0].At != day(2) || d.Restrung[0].Text != "gauge 0.254 mm after 0.229 mm" {
		t.Errorf("restrung %+v", d.Restrung)
	}
	if m := d.Strings[0].Moves; !m[1].Retuned || m[2].Retuned {
		t.Errorf("moves %+v", m)
	}
}

func TestOtherTuningIsNoDrift(t *testing.T) {
	j := openNew(t)
	for i, c := range []float64{0, 200, 0.1, 0.2} { // tuned to 0 in between
		sitting(t, j, float64(i), nil, c)
	}
	d := drift(t, j)
	s := d.Strings[0]
	if !s.Moves[0].Retuned || s.Verdict != Settled || len(d.LeftOut) != 0 {
		t.Errorf("%+v, left out %+v", s, d.LeftOut)
	}
}

// TestOtherStringIsLeftOut has readings of A2 under the held E2 and under the held D3 of a guitar (pitches of
// 12 equal steps from A4 = 440 Hz, ISO 16), as were kept before the tuner noticed. They are no drift.
func TestOtherStringIsLeftOut(t *testing.T) {
	j := openNew(t)
	open := []String{{Number: 4, Label: "D3", TargetHz: 146.832384}, {Number: 5, Label: "A2", TargetHz: 110}, {Number: 6, Label: "E2", TargetHz: 82.406889}}
	at := func(n int, hz, target float64) Reading {
		return Reading{String: n, TargetHz: target, F1Hz: hz, SigmaCents: 0.1, Cents: cents(hz, target)}
	}
	for i := range 4 {
		readings := []Reading{at(6, 82.41, 82.406889), at(5, 110.02, 110)}
		if i%2 == 1 {
			readings = append(readings, at(6, 110.02, 82.406889), at(4, 110.02, 146.832384), at(6, 82.41, 82.406889))
		}
		readings = append(readings, at(4, 146.83*math.Exp2(-200./1200), 146.832384)) // dropped by a whole tone: still that string
		keep(t, j, Session{Instrument: "guitar", Started: day(float64(i)), Strings: open}, readings...)
	}
	// Without an instrument in the session its own target is all there is to go by.
	keep(t, j, Session{Instrument: "guitar", Started: day(9)}, at(6, 82.41, 82.406889), at(6, 329.63, 82.406889))
	d := drift(t, j)
	for _, s := range d.Strings {
		if s.Verdict != Settled {
			t.Errorf("string %d: %s, moves %+v", s.Number, s.Verdict, s.Moves)
		}
		for _, sit := range s.Sittings {
			if sit.Left.Cents != sit.Found.Cents {
				t.Errorf("string %d: found at %+.1f cents, left at %+.1f", s.Number, sit.Found.Cents, sit.Left.Cents)
			}
		}
	}
	var said []string
	for i := range d.LeftOut {
		said = append(said, d.LeftOut[i].Words())
	}
	want := []string{
		"left out: string 4: 2 readings in 2 sessions, the last 4: -500 cents, nearer to string 5",
		"left out: string 6: 1 reading in session 5: +2400 cents, more than 250 cents off",
		"left out: string 6: 2 readings in 2 sessions, the last 4: +500 cents, nearer to string 5",
	}
	if !slices.Equal(said, want) {
		t.Errorf("said\n%q\nwant\n%q", said, want)
	}
}

// TestNeighboursAreNotTakenForOneAnother: strings of a harp a semitone apart, the two of a course in
// unison, and a string that is far from where it should be but nearer to its own place.
func TestNeighboursAreNotTakenForOneAnother(t *testing.T) {
	s := Session{Strings: []String{{Number: 1, TargetHz: 440}, {Number: 2, TargetHz: 440 * math.Exp2(100./1200)}, {Number: 3, TargetHz: 440.1}, {Number: 4, TargetHz: 220}}}
	for _, c := range []struct {
		string int
		hz     float64
		seems  int
		out    bool
	}{
		{1, 440.1, 0, false},
		{1, 440 * math.Exp2(59./1200), 0, false}, // still drift
		{1, 440 * math.Exp2(61./1200), 2, true},
		{1, 440 * math.Exp2(-240./1200), 0, false},
		{1, 440 * math.Exp2(-260./1200), 0, true},
		{4, 439, 1, true},
	} {
		if _, seems, out := s.otherString(&Reading{String: c.string, F1Hz: c.hz}); out != c.out || seems != c.seems {
			t.Errorf("string %d at %.2f Hz: left out %v as string %d; want %v, %d", c.string, c.hz, out, seems, c.out, c.seems)
		}
	}
}
