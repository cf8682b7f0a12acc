package fretboard

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/targets"
)

// chordOf returns 4:5:6:7 as intervals above the first.
func chordOf(tb testing.TB, text string) []targets.Interval {
	tb.Helper()
	parts := strings.Split(text, ":")
	notes := make([]targets.Interval, len(parts))
	for i, p := range parts {
		iv, err := targets.ParseInterval(p + "/" + parts[0])
		if err != nil {
			tb.Fatal(err)
		}
		notes[i] = iv
	}
	return notes
}

// 41 equal steps take 5/4 as 13, 3/2 as 24 and 7/4 as 33 steps (published table of 41 equal
// divisions: 380.49, 702.44 and 965.85 cents). On strings 13 steps apart with frets at every
// second step that is the shape of the root's fret on two strings, one fret back on the third
// string and three back on the fourth: 0 0 -1 -3.
func TestKnownShapeOf41(t *testing.T) {
	b := builtin(t, "guitar-41edo-alternate")
	shapes, err := b.Shapes(context.Background(), ChordQuery{Notes: chordOf(t, "4:5:6:7"), SpanMM: 120, WithinCents: 10, Fret: -1})
	if err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, s := range shapes {
		near(t, "every shape is as pure as the division", s.WorstCents, (702.4390-701.9550)+(386.3137-380.4878), 0.001)
		root := s.RootFrets[0]
		for top := range 3 { // the root on string 6, 5 or 4
			r := 5 - top
			f := s.Frets
			if f[r] == root && f[r-1] == root && f[r-2] == root-1 && f[r-3] == root-3 && s.Notes[0].String == r+1 {
				want++
				near(t, "span at its widest, frets 1 to 4", s.SpanMM, b.Strings[5].Frets[3].NutMM-b.Strings[5].Frets[0].NutMM, 1e-9)
				if root != 3 || !slices.Contains(s.RootFrets, 4) {
					t.Errorf("known shape begins at fret %d: %v", root, s.RootFrets)
				}
			}
		}
	}
	if s := shapes[0]; len(s.RootFrets) < 10 || s.SpanMM > 70 {
		t.Errorf("first is %+v, not a compact shape that moves", s)
	}
	if want != 3 {
		t.Errorf("the known shape is there on %d sets of strings, want 3", want)
	}
}

// twin finds every choice of a string and fret for each note by trying them all, and keeps what
// is playable by the words of the doc comment.
func twin(b *Board, q ChordQuery) map[string]bool {
	found := map[string]bool{}
	n := len(q.Notes)
	at := make([]spot, n)
	var try func(i int)
	try = func(i int) {
		if i < n {
			for str := range b.Strings {
				if slices.ContainsFunc(at[:i], func(p spot) bool { return p.str == str }) {
					continue // a string sounds one note
				}
				for fret := 0; fret <= len(b.Strings[str].Frets); fret++ {
					at[i] = spot{str, fret}
					try(i + 1)
				}
			}
			return
		}
		for i := range at {
			for j := range i {
				a, c := b.Strings[at[j].str].sounds(at[j].fret), b.Strings[at[i].str].sounds(at[i].fret)
				off := 1200*math.Log2(c.Hz/a.Hz) - q.Notes[i].Sub(q.Notes[j]).Cents()
				if math.Abs(off) > q.WithinCents+1e-7 {
					return
				}
				x, y := b.Strings[at[j].str], b.Strings[at[i].str]
				if at[i].fret > 0 && at[j].fret > 0 &&
					math.Abs(x.Frets[at[j].fret-1].AlongMM-y.Frets[at[i].fret-1].AlongMM) > q.SpanMM+1e-7 {
					return
				}
			}
		}
		found[fmt.Sprint(at)] = true
	}
	try(0)
	return found
}

// The search finds what the plain twin finds, no less and no more. Chords have at most four notes
// here, so four fingers always do.
func TestShapesAgainstTwin(t *testing.T) {
	for _, c := range []struct {
		name, file, chord string
		span, within      float64
	}{
		{"strings of one scale", "", "4:5:6", 90, 20},
		{"wide and loose", "", "3:4:5", 150, 60},
		{"narrow", "", "6:7:9", 20, 40},
		{"no span: open strings and one barre", "", "4:5:6", 0, 30},
		{"fan of three", fan, "4:5:6", 120, 25},
		{"four notes", "", "4:5:6:7", 120, 40},
	} {
		file := c.file
		if file == "" {
			file = "name='x'\ntuning='31edo'\nscale_length_mm=600\nfrets={count=11,every=2}\n" +
				"[[strings]]\nnote='D4'\n[[strings]]\nnote='B3'\n[[strings]]\nnote='G3'\n[[strings]]\nnote='D3'\n"
		}
		b := lay(t, parse(t, file))
		q := ChordQuery{Notes: chordOf(t, c.chord), SpanMM: c.span, WithinCents: c.within, Fret: -1}
		s, err := b.newSearch(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.run(); err != nil {
			t.Fatal(err)
		}
		want := twin(b, q)
		got := map[string]bool{}
		for i := 0; i < len(s.found); i += len(q.Notes) {
			key := fmt.Sprint(s.found[i : i+len(q.Notes)])
			if got[key] || !want[key] {
				t.Errorf("%s: shape %s is twice or wrong", c.name, key)
			}
			got[key] = true
		}
		if len(got) != len(want) || len(want) == 0 {
			t.Errorf("%s: %d shapes, the twin has %d", c.name, len(got), len(want))
		}
		places := 0
		shapes := s.merge()
		for _, m := range shapes {
			places += len(m.RootFrets)
		}
		if places != len(want) {
			t.Errorf("%s: %d places after merging, want %d", c.name, places, len(want))
		}
	}
}

// Ranked by purity, the same every time, and every figure agrees with the pitches.
func TestShapesRanked(t *testing.T) {
	b := builtin(t, "guitar-12edo")
	q := ChordQuery{Notes: chordOf(t, "4:5:6:7"), SpanMM: 120, WithinCents: 40, Fret: -1}
	shapes, err := b.Shapes(context.Background(), q)
	if err != nil || len(shapes) == 0 {
		t.Fatal(len(shapes), err)
	}
	again, err := b.Shapes(context.Background(), q)
	if err != nil || !reflect.DeepEqual(shapes, again) {
		t.Error("a second search gives another result")
	}
	for i, s := range shapes {
		if i > 0 && s.WorstCents < shapes[i-1].WorstCents-0.001 {
			t.Errorf("shape %d is purer than the one before", i)
		}
		worst := 0.0
		for _, p := range s.Pairs {
			off := 1200*math.Log2(s.Notes[p.High].Hz/s.Notes[p.Low].Hz) - p.Interval.Cents()
			near(t, "pair", p.Cents, off, 1e-6)
			worst = max(worst, math.Abs(off))
		}
		near(t, "worst pair", s.WorstCents, worst, 1e-6)
		near(t, "worst pair in 12 equal steps is 7/6", s.WorstCents, 33.129, 0.001) // 300 - 266.871 cents
	}
}

// Hand counts, after how guitarists finger them (common practice, no source).
func TestFingers(t *testing.T) {
	b := builtin(t, "guitar-12edo")
	s, err := b.newSearch(context.Background(), ChordQuery{Notes: chordOf(t, "4:5"), Fret: -1})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		want int
		at   []spot
	}{
		{"open strings", 0, []spot{{0, 0}, {1, 0}}},
		{"barre over six strings with three more", 4, []spot{{5, 1}, {4, 3}, {3, 3}, {2, 2}, {1, 1}, {0, 1}}},
		{"A major: an open string outside the three", 1, []spot{{4, 0}, {3, 2}, {2, 2}, {1, 2}}},
		{"C major: an open string inside", 3, []spot{{4, 3}, {3, 2}, {2, 0}, {1, 1}}},
		{"the open G string is in the way", 2, []spot{{3, 2}, {2, 0}, {1, 2}}},
	} {
		if got := s.fingers(c.at); got != c.want {
			t.Errorf("%s: %d fingers, want %d", c.name, got, c.want)
		}
	}
}

func TestPurest(t *testing.T) {
	b := builtin(t, "guitar-12edo")
	q := ChordQuery{Notes: chordOf(t, "4:5:6:7"), SpanMM: 120, Fret: -1}
	worst, found, err := b.Purest(context.Background(), q)
	if err != nil || !found {
		t.Fatal(found, err)
	}
	near(t, "purest 4:5:6:7 in 12 equal steps", worst, 33.129, 0.001)
}

func TestShapesRefuse(t *testing.T) {
	b := builtin(t, "ukulele-12edo")
	ok := ChordQuery{Notes: chordOf(t, "4:5:6"), SpanMM: 100, WithinCents: 20, Fret: -1}
	for _, c := range []struct {
		says   string
		change func(*ChordQuery)
	}{
		{"needs as many strings", func(q *ChordQuery) { q.Notes = chordOf(t, "4:5:6:7:8") }},
		{"2 to 16", func(q *ChordQuery) { q.Notes = q.Notes[:1] }},
		{"span", func(q *ChordQuery) { q.SpanMM = -1 }},
		{"span", func(q *ChordQuery) { q.SpanMM = math.NaN() }},
		{"cents", func(q *ChordQuery) { q.WithinCents = -1 }},
		{"frets 0 to 12", func(q *ChordQuery) { q.Fret = 13 }},
		{"strings 1 to 4", func(q *ChordQuery) { q.String = 5 }},
	} {
		q := ok
		c.change(&q)
		if _, err := b.Shapes(context.Background(), q); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want %s", err, c.says)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := b.Shapes(ctx, ok); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}

func BenchmarkShapes(b *testing.B) {
	in, err := targets.ParseInstrument("x.toml", []byte("name='x'\ntuning='41edo'\nscale_length_mm=648\nfrets={count=24,every=2}\n"+
		"[[strings]]\nstep=-34\n[[strings]]\nstep=-47\n[[strings]]\nstep=-60\n[[strings]]\nstep=-73\n[[strings]]\nstep=-86\n[[strings]]\nstep=-99\n"))
	if err != nil {
		b.Fatal(err)
	}
	board, err := New(in, Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, within := range []float64{10, 40, 100} {
		b.Run(fmt.Sprintf("strings=6/frets=24/notes=4/within=%g", within), func(b *testing.B) {
			b.ReportAllocs()
			found := 0
			for b.Loop() {
				shapes, err := board.Shapes(context.Background(), ChordQuery{Notes: chordOf(b, "4:5:6:7"), SpanMM: 150, WithinCents: within, Fret: -1})
				if err != nil {
					b.Fatal(err)
				}
				found = len(shapes)
			}
			b.ReportMetric(float64(found), "shapes")
		})
	}
}
