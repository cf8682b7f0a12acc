package setup

import (
	"math"
	"strings"
	"testing"
	"testing/fstest"
)

func TestParseName(t *testing.T) {
	for name, want := range map[string]Note{
		"6-open.wav":                {String: 6},
		"6-0.wav":                   {String: 6},
		"6-open-2.flac":             {String: 6},
		"6-12.wav":                  {String: 6, Fret: 12},
		"string6-fret12-b.flac":     {String: 6, Fret: 12},
		"S6_F3.wav":                 {String: 6, Fret: 3},
		"6-h2.wav":                  {String: 6, Harmonic: 2},
		"string 10 harmonic 3 .wav": {String: 10, Harmonic: 3},
		"1-7 third try.wav":         {String: 1, Fret: 7},
	} {
		if got, ok := ParseName(name); !ok || got != want {
			t.Errorf("%s: %+v %v, want %+v", name, got, ok, want)
		}
	}
	for _, name := range []string{"take.wav", "6.wav", "612.wav", "6-.wav", "E2-open.wav", "6-opening.wav", "-12.wav", "6-h.wav", "2024-11-25.wav"} {
		if got, ok := ParseName(name); ok {
			t.Errorf("%s was taken for %s", name, got.Text())
		}
	}
}

func TestFindRecordings(t *testing.T) {
	folder := fstest.MapFS{
		"6-open.wav": {}, "6-12.FLAC": {}, "notes.txt": {}, "room.wav": {}, "old/6-1.wav": {},
	}
	found, unknown, err := FindRecordings(folder)
	if err != nil || len(found) != 2 || len(unknown) != 1 || unknown[0] != "room.wav" {
		t.Errorf("found %v, unknown %v, error %v", found, unknown, err)
	}
	folder["manifest.csv"] = &fstest.MapFile{Data: []byte("\ufefffile, string, fret, harmonic, from_s, to_s\nall.wav, 6, , , 0, 4.5\nall.wav, 6, , 2, 4.5, 9\nold/b.wav, 1, 12, , ,\n")}
	found, _, err = FindRecordings(folder)
	if err != nil || len(found) != 3 {
		t.Fatalf("manifest: %v, error %v", found, err)
	}
	if f := found[1]; f.Harmonic != 2 || f.FromS != 4.5 || f.ToS != 9 || f.File != "all.wav" {
		t.Errorf("second row %+v", f)
	}
	if f := found[2]; f.Fret != 12 || !math.IsInf(f.ToS, 1) {
		t.Errorf("third row %+v", f)
	}
	if files := Files(found); len(files) != 2 {
		t.Errorf("files %v", files)
	}
	for text, want := range map[string]string{
		"":                                 "no header",
		"file,fret\na,1\n":                 `no column "string"`,
		"file,string,colour\n":             `column "colour"`,
		"file,string\na.wav,six\n":         `line 2: string "six"`,
		"file,string\na.wav,\n":            "line 2: no string",
		"file,string,fret\na.wav,6,1.5\n":  `fret "1.5"`,
		"file,string,from_s\na.wav,6,-1\n": `from_s "-1"`,
		"file,string\n../a.wav,6\n":        "not a name below the folder",
		"file,string\n/etc/a.wav,6\n":      "not a name below the folder",
	} {
		folder["manifest.csv"] = &fstest.MapFile{Data: []byte(text)}
		if _, _, err := FindRecordings(folder); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want %q", text, err, want)
		}
	}
}

func TestPutRecordings(t *testing.T) {
	board := boardOf(t, "guitar-12edo")
	w := newWorld(board)
	at := func(file string, s, cents float64, n Note) Pluck {
		p := w.pluckAt(n, cents)
		p.Source, p.AtS = file, s
		return p
	}
	open, fifth, seventh := Note{String: 6}, Note{String: 6, Fret: 5}, Note{String: 6, Fret: 7}
	all := []Recording{
		{Note: seventh, File: "6-7.wav", ToS: math.Inf(1)},
		{Note: fifth, File: "long.wav", FromS: 5, ToS: 10},
		{Note: open, File: "long.wav", FromS: 0, ToS: 5},
		{Note: Note{String: 6, Fret: 9}, File: "6-9.wav", ToS: math.Inf(1)},
	}
	plucks := []Pluck{
		at("long.wav", 1, -30, open), at("long.wav", 6, -30, fifth), at("long.wav", 7, -30, fifth),
		at("6-7.wav", 0.5, -30, seventh), at("6-7.wav", 3, -30, fifth),
	}
	c, wrong, err := PutRecordings(board, all, plucks, UsualSettings)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range c.Entries {
		got = append(got, e.Short())
	}
	if s := strings.Join(got, " "); s != "open fret 5 fret 7" || len(c.Entries[1].Plucks) != 2 {
		t.Errorf("entries %q, %d plucks of fret 5", s, len(c.Entries[1].Plucks))
	}
	if len(wrong) != 2 || !strings.Contains(wrong[0], "6-7.wav at 3.0 s: that sounds like string 6, fret 5") || !strings.Contains(wrong[1], "6-9.wav: nothing in it") {
		t.Errorf("said %q", wrong)
	}
	if _, _, err := PutRecordings(board, []Recording{{Note: Note{String: 9}, File: "9-1.wav"}}, nil, UsualSettings); err == nil {
		t.Error("string 9 of a guitar was taken")
	}
}
