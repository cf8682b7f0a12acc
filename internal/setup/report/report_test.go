package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"tunerd/internal/setup"
	"tunerd/internal/targets"
)

// sample is a check of a guitar whose saddle stands 2 mm short on string 1, whose fret 12 stands
// 0.6 mm too near the nut, and whose string 3 slipped. Invented; seed 2.
func sample(t *testing.T, saddleMM float64) *setup.Check {
	t.Helper()
	in, err := targets.LoadInstrument("guitar-12edo")
	if err != nil {
		t.Fatal(err)
	}
	board, err := setup.NewBoard(in)
	if err != nil {
		t.Fatal(err)
	}
	for i := range board.Strings {
		board.Strings[i].Elastic, board.Strings[i].ElasticSpread = 1e-3, 0.01 // lengths are all
	}
	plan, err := setup.MakePlan(board, setup.PlanOptions{})
	if err != nil {
		t.Fatal(err)
	}
	settings := setup.UsualSettings
	settings.Thread, settings.Fixed = 0.7, true
	c := setup.NewCheck(board, plan, settings)
	c.Program, c.Comment = "tunerd test", "old strings"
	rng := rand.New(rand.NewPCG(2, 2))
	for i := range c.Entries {
		e := &c.Entries[i]
		off := 0.0
		s := board.Strings[e.String-1]
		if e.Fret > 0 {
			ends := setup.Ends{}
			if e.String == 1 {
				ends.SaddleMM = saddleMM
			}
			fret := 0.0
			if e.Fret == 12 {
				fret = -0.6
			}
			off = setup.Deviation(s.ScaleMM, ends, s.Frets[e.Fret-1].Ratio(), fret)
		}
		if e.String == 3 && e.Open() && i > 0 && c.Entries[i-1].String == 3 {
			off -= 5
		}
		for range 2 {
			hz := board.Hz(e.Note) * math.Pow(2, (off+0.2*rng.NormFloat64())/1200)
			e.Plucks = append(e.Plucks, setup.Pluck{F1Hz: hz, SigmaCents: 0.05, SNRdB: 30})
		}
		e.State = setup.Done
	}
	c.At = len(c.Entries)
	return c
}

func sampleReport(t *testing.T) *Report {
	t.Helper()
	r, err := New(sample(t, 0), sample(t, -2))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestText(t *testing.T) {
	r, err := New(sample(t, -2), nil)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := r.WriteText(&b); err != nil {
		t.Fatal(err)
	}
	words := strings.Join(strings.Fields(b.String()), " ")
	for _, want := range []string{
		"String 1, E4. Move the saddle 2.", "back, away from the nut: ", " turns of its 0.7 mm screw",
		"Worth a move.", "Fret 12 stands 0.", "mm too near the nut", "cents flat whatever is done",
		"String 3 slipped by -", "A nut of one piece can stay", "A straight saddle of one piece",
		"Wear eye protection", "Slacken a string", "its tension rises", "licensed technician", "old strings",
	} {
		if !strings.Contains(words, want) {
			t.Errorf("%q is not said in\n%s", want, b.String())
		}
	}
	for i, line := range strings.Split(b.String(), "\n") {
		if n := len([]rune(line)); n > 100 {
			t.Errorf("line %d has %d characters", i+1, n)
		}
	}
}

func TestTurns(t *testing.T) {
	for turned, want := range map[float64]string{
		1: "1 turn", 2.02: "2 turns", 0.26: "1/4 of a turn", 0.5: "1/2 of a turn", 1.13: "1 1/8 turns", 2.14: "2 1/8 turns", 1.97: "2 turns", 0.88: "7/8 of a turn", 0.01: "less than 1/8 of a turn",
	} {
		if got := turns(turned); got != want {
			t.Errorf("%g: %q, want %q", turned, got, want)
		}
	}
}

func TestCautionNearBreaking(t *testing.T) {
	c := sample(t, -2)
	c.Board.Strings[0].BreakShare = 0.748 // a longer string at the same pitch is above 0.75
	r, err := New(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(r.Cautions(), " "); !strings.Contains(said, "String 1 will bear 75 % of the load at which it breaks") {
		t.Errorf("cautions %q", said)
	}
	// 2 mm on 648 raise the tension of a string at the same pitch by (650/648)² − 1 = 0.62 %.
	if rise := r.tensionRise(); math.Abs(rise-0.0062) > 0.0006 {
		t.Errorf("tension rises by %.4f, want 0.0062", rise)
	}
}

func TestData(t *testing.T) {
	r := sampleReport(t)
	var b bytes.Buffer
	if err := r.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(all) != 1+2*len(r.Check.Entries) {
		t.Fatalf("%d rows, error %v; want two for each of %d notes and a header", len(all), err, len(r.Check.Entries))
	}
	b.Reset()
	if err := r.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Type     string
		Result   setup.Result
		Compared []setup.Comparison
		Slips    []setup.Slip
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if got.Type != "intonation" || len(got.Result.Strings) != 6 || len(got.Compared) != 6 || len(got.Slips) != 1 {
		t.Errorf("type %q, %d strings, %d compared, %d slips", got.Type, len(got.Result.Strings), len(got.Compared), len(got.Slips))
	}
}

// TestNothingIsExact: a standard error is never rounded to nothing, and one of a thing is called one.
func TestNothingIsExact(t *testing.T) {
	r, err := New(sample(t, 0), sample(t, -2))
	if err != nil {
		t.Fatal(err)
	}
	for i := range r.Result.Strings {
		r.Result.Strings[i].MoveSigma = setup.Move{NutMM: 1e-5, SaddleMM: 1e-5}
		r.BeforeResult.Strings[i].MoveSigma = setup.Move{NutMM: 1e-5, SaddleMM: 1e-5}
		for k := range r.Result.Strings[i].Notes {
			r.Result.Strings[i].Notes[k].Sigma = 1e-5
		}
	}
	for i := range r.Result.Frets {
		r.Result.Frets[i].Sigma = 1e-5
	}
	r.Result.Height.Sigma = 1e-5
	if r.Result.Nut != nil {
		r.Result.Nut.Sigma = 1e-5
	}
	var b strings.Builder
	if err := r.WriteText(&b); err != nil {
		t.Fatal(err)
	}
	said := b.String()
	if !strings.Contains(said, "± 0.01") {
		t.Errorf("no small standard error in\n%s", said)
	}
	said += fmt.Sprintln(r.Moves(), r.FretTable(), r.NoteTable(), *r.Compared(), r.ComparedWords())
	if found := regexp.MustCompile(`±\s*0\.0+\b`).FindString(said); found != "" {
		t.Errorf("%q in\n%s", found, said)
	}

	c := sample(t, 0)
	one := c.Entries[0]
	one.Plucks = one.Plucks[:1]
	c.Entries = []setup.Entry{one}
	r.Check, r.Result.Odd, r.Result.Frets = c, nil, r.Result.Frets[:1]
	r.Result.Frets[0].Off = false
	for said, want := range map[string]string{r.Facts()[1]: "1 note, 1 pluck, each", r.Frets()[0]: "The one fret that was heard is not off its place"} {
		if !strings.HasPrefix(said, want) {
			t.Errorf("%q, want %q", said, want)
		}
	}
}
