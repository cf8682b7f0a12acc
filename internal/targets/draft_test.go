package targets

import (
	"math"
	"strings"
	"testing"
)

func mustCourses(t *testing.T, text string) []DraftCourse {
	t.Helper()
	all, err := ParseDraftCourses(text)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// Every way to give an open string comes back from the file that is written, with the pitch that the
// definition of the tuning gives it.
func TestDraftReadsBack(t *testing.T) {
	d := Draft{Name: `Bench "one"`, Tuning: "31edo", Reference: "A4=442", ScaleMM: []float64{648, 686}, Perpendicular: 7, Frets: 24, Every: 2,
		Courses: mustCourses(t, "E4x2, B3-13.7c, step -31, 2/3, 100 Hz")}
	text, in, err := d.TOML()
	if err != nil {
		t.Fatal(err)
	}
	again, err := ParseInstrument("x.toml", []byte(text))
	if err != nil || again.Name != `Bench "one"` || again.PerpendicularFret != 7 || again.Courses() != 5 {
		t.Fatalf("%v, %+v\n%s", err, again, text)
	}
	e4 := 442 * math.Exp2(-13./31) // a fourth of 13 steps below A4
	b3 := 442 * math.Exp2(-26./31)
	for i, want := range []struct{ hz, scale float64 }{
		{e4, 648}, {e4, 648}, {b3 * math.Exp2(-13.7/1200), 657.5}, {221, 667}, {442 * 2 / 3., 676.5}, {100, 686},
	} {
		s := again.Strings[i]
		near(t, "pitch", s.Open.Hz, want.hz, 1e-9)
		near(t, "scale", s.ScaleLengthMM, want.scale, 1e-9)
		near(t, "drafted", in.Strings[i].Open.Hz, want.hz, 1e-9)
		if len(s.Frets) != 24 || s.Frets[23].Step != 48 {
			t.Errorf("string %d: %d frets", i+1, len(s.Frets))
		}
	}
}

func TestDraftRefuses(t *testing.T) {
	for _, text := range []string{"", "H4", "E4x9", "E4x0", "5Hz", "0/1", strings.Repeat("E4 ", 65)} {
		if all, err := ParseDraftCourses(text); err == nil {
			t.Errorf("%q is %v", text, all)
		}
	}
	good := Draft{Name: "x", Tuning: "12edo", ScaleMM: []float64{650}, Courses: mustCourses(t, "E4")}
	for _, c := range []struct {
		change func(*Draft)
		says   string
	}{
		{func(d *Draft) { d.Tuning = "12foo" }, "12foo"},
		{func(d *Draft) { d.ScaleMM = []float64{5} }, "scale_length_mm 5 is outside 20 to 5000"},
		{func(d *Draft) { d.ScaleMM = nil }, "0 scale lengths"},
		{func(d *Draft) { d.Frets = 501 }, "count from 0 to 500"},
		{func(d *Draft) { d.Courses = nil }, "no strings"},
	} {
		d := good
		c.change(&d)
		if _, _, err := d.TOML(); err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "draft") {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
}

// A built-in file that is written out reads back as the instrument that it was.
func TestBuiltinFile(t *testing.T) {
	for _, in := range Builtins() {
		data, err := BuiltinFile(in.ID)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseInstrument(in.ID, data)
		if err != nil || again.Identity() != in.Identity() {
			t.Errorf("%s: %v", in.ID, err)
		}
	}
	if _, err := BuiltinFile("../instrument.go"); err == nil {
		t.Error("a path is a built-in")
	}
}
