package targets

import (
	"strings"
	"testing"
)

func TestParseTuning(t *testing.T) {
	for _, c := range []struct {
		spec   string
		period string
		notes  string // intervals of one period above the reference note
	}{
		{"5edo", "2/1", `1/1 1of5edo 2of5edo 3of5edo 4of5edo`},
		{"  5EDO ", "2/1", `1/1 1of5edo 2of5edo 3of5edo 4of5edo`},
		{"4ed3", "3/1", `1/1 1of4ed3 1of2ed3 3of4ed3`},
		{"3ed3/2", "3/2", `1/1 1of3ed3/2 2of3ed3/2`},
		{"4:5:6:7", "2/1", "1/1 5/4 3/2 7/4"},
		{"4:5:6:8", "2/1", "1/1 5/4 3/2"},
		{"4:5:6:8 repeat 4/1", "4/1", "1/1 5/4 3/2 2/1"},
		{"1/1 9/8 5/4 4/3 3/2 5/3 15/8", "2/1", "1/1 9/8 5/4 4/3 3/2 5/3 15/8"},
		{"15/8 5/3 3/2 4/3 5/4 9/8 2/1", "2/1", "1/1 9/8 5/4 4/3 3/2 5/3 15/8"},
		{"3/2 5/2 repeat 3/1", "3/1", "1/1 3/2 5/2"},
		{"2/3", "2/1", "1/1 4/3"},
		{"harmonics 8..16", "2/1", "1/1 9/8 5/4 11/8 3/2 13/8 7/4 15/8"},
		{"harmonics 3..6 repeat 2/1", "2/1", "1/1 4/3 5/3"},
		{"subharmonics 4..8", "2/1", "1/1 8/7 4/3 8/5"},
		{`24of41edo 386.31c 7/4`, "2/1", `1/1 386.31c 24of41edo 7/4`},
	} {
		tuning := mustTuning(t, c.spec)
		period, n := tuning.Period()
		if period.String() != c.period {
			t.Errorf("%s repeats at %v, want %s", c.spec, period, c.period)
		}
		var notes []string
		for step := range n {
			notes = append(notes, tuning.Note(step).Interval.String())
		}
		if got := strings.Join(notes, " "); got != c.notes {
			t.Errorf("%s: %s, want %s", c.spec, got, c.notes)
		}
	}
}

// Every line names the offending token and says what is accepted.
func TestParseTuningRefuses(t *testing.T) {
	for _, c := range []struct{ spec, names, accepts string }{
		{"", "nothing given", "12edo"},
		{"foo", "foo", "harmonics 8..16"},
		{"12edx", "x", "13ed3"},
		{"12ed", "nothing", "9ed3/2"},
		{"edo", "edo", "12edo"},
		{"0edo", "0", "1 to 10000"},
		{"999999999edo", "999999999", "1 to 10000"},
		{strings.Repeat("9", 100000) + "edo", "999", "1 to 10000"},
		{"10000ed3/2", "10000", "an octave"},
		{"12ed1", "1/1", "upwards"},
		{"12ed2/3", "2/3", "upwards"},
		{"12ed0", "0", "12edo"},
		{"1/1 8 edo", "edo", "ratio like 3/2"},
		{"1/1 x 3/2", "x", "ratio like 3/2"},
		{"1/1 3/0", "3/0", "no side 0"},
		{"1/1 3/2 6/4", "6/4", "again"},
		{`1/1 1of2edo 600c 2of4edo`, `2of4edo`, "again"},
		{"1.5c 1.5001c", "1.5001c", "0.001 cents"},
		{"1/1 1199.9999c", "1199.9999c", "0.001 cents"},
		{"4:5:x", "x", "4:5:6:7"},
		{"4:5:0", "0", "4:5:6:7"},
		{"4:5/4", "5/4", "4:5:6:7"},
		{"4:4:5", "4", "again"},
		{"harmonics", "harmonics", "8..16"},
		{"harmonics 8", "8", "8..16"},
		{"harmonics 16..8", "16..8", "8..16"},
		{"harmonics 1..999999999", "999999999", "1 to 10000"},
		{"subharmonics 0..9", "0..9", "subharmonics 8..16"},
		{"3/2 repeat", "repeat", "repeat 3/1"},
		{"repeat 3/1", "repeat", "repeat 3/1"},
		{"3/2 repeat 3/1 5/4", "repeat", "at the end"},
		{"3/2 repeat 2/3", "2/3", "above 1/1"},
		{"3/2 repeat y", "y", "ratio like 3/2"},
		{"3/2 repeat 0.0001c", "3/2", "repeats"},
		{"pythagorean repeat 3/1", "pythagorean", "werckmeister-3"},
		{strings.Repeat("9", 1e9/1000) + "/1", "999", "characters"},
		{strings.Repeat("1 ", 1<<20), "1 1", "characters"},
	} {
		_, err := ParseTuning(c.spec)
		if err == nil {
			t.Errorf("%.40q is accepted", c.spec)
			continue
		}
		line := err.Error()
		if !strings.Contains(line, c.names) || !strings.Contains(line, c.accepts) || strings.Contains(line, "\n") || len(line) > 400 {
			t.Errorf("%.40q: %.300s\nwant one line with %q and %q", c.spec, line, c.names, c.accepts)
		}
	}
}

// Reading a tuning ends with a tuning or an error line and costs bounded work; what is read keeps
// its laws.
func FuzzTuning(f *testing.F) {
	for _, spec := range []string{
		"12edo", "41edo", "13ed3", "9ed3/2", "4:5:6:7", "1/1 9/8 5/4 4/3 3/2 5/3 15/8",
		"3/2 5/2 repeat 3/1", "harmonics 8..16", "subharmonics 8..16", `24of41edo 386.31c 7/4`,
		"werckmeister-3", "999999999edo", "harmonics 1..999999999", "1000000000/3", "-3c 1200c",
		`1of3edo+1of5edo+2/3 repeat 4of3ed5`, "0.002c repeat 0.15c", "1000000c repeat 1c",
	} {
		f.Add(spec)
	}
	f.Fuzz(func(t *testing.T, spec string) {
		tuning, err := ParseTuning(spec)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || len(err.Error()) > 1000 {
				t.Errorf("error is not one short line: %q", err)
			}
			return
		}
		_, n := tuning.Period()
		if n < 1 || n > maxSteps {
			t.Fatalf("%q has %d notes", spec, n)
		}
		for _, step := range []int{-n - 1, -1, 0, 1, n / 2, n, 2*n + 1} {
			note := tuning.Note(step)
			if note.Hz > MinNoteHz/10 && note.Hz < 10*MaxNoteHz && tuning.Nearest(note.Hz) != step {
				t.Errorf("%q: step %d at %v Hz is nearest to step %d", spec, step, note.Hz, tuning.Nearest(note.Hz))
			}
		}
		again, err := ParseTuning(tuning.String())
		if err != nil || again.String() != tuning.String() {
			t.Errorf("%q does not read back: %v", tuning, err)
		}
	})
}
