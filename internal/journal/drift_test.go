package journal

import (
	"math"
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
	d, err := j.Drift(t.Context(), "guitar", time.Time{})
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
	s := drift(t, j).Strings[0]
	if !s.Moves[0].Retuned || s.Verdict != Settled {
		t.Errorf("%+v", s)
	}
}
