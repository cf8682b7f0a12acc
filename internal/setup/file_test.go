package setup

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

func TestSaveAndLoad(t *testing.T) {
	board := boardOf(t, "guitar-41edo-alternate")
	c := newWorld(board).play(t, planOf(t, board, PlanOptions{}), rand.New(rand.NewPCG(1, 1)))
	c.Comment, c.At = "new strings", 5
	dir := t.TempDir()
	path := filepath.Join(dir, "check.json")
	for range 2 { // also over the old one
		if err := c.Save(path); err != nil {
			t.Fatal(err)
		}
	}
	got, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(c, got) {
		t.Error("what was loaded is not what was saved")
	}
	if !got.Board.Same(board) {
		t.Error("the board has changed on the way")
	}
	if files, _ := os.ReadDir(dir); len(files) != 1 {
		t.Errorf("%d files are left, want one", len(files))
	}
	if err := c.Save(filepath.Join(dir, "no", "check.json")); err == nil || !strings.Contains(err.Error(), "cannot write") {
		t.Errorf("saved into a folder that is not there: %v", err)
	}
}

func TestReadRefuses(t *testing.T) {
	_, c := newTestCheck(t)
	var good bytes.Buffer
	if err := c.Write(&good); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ old, new, want string }{
		{`"type": "intonation_check"`, `"type": "tuning"`, `type is "tuning"`},
		{`"version": 1`, `"version": 2`, "version 2"},
		{`"at": 0`, `"at": 7`, "note 8 of 6"},
		{`"at": 0`, `"at": -1`, "note 0"},
		{`"scale_mm": 648`, `"scale_mm": -1`, "no string"},
		{`"plucks": 2`, `"plucks": 0`, "plucks a note"},
		{`"harmonic": 2`, `"harmonic": 99`, "harmonic 99"},
		{`"cents": 100,`, `"cents": -100,`, "fret 1"},
		{`"slot_mm": 0.05`, `"slot_mm": 0`, "setting"},
	} {
		bad := strings.Replace(good.String(), x.old, x.new, 10)
		if bad == good.String() {
			t.Errorf("%s is not in the file", x.old)
		}
		if _, err := Read(strings.NewReader(bad)); err == nil || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%s: error %v, want %q in it", x.new, err, x.want)
		}
	}
	for _, bad := range []string{"", "{", "[]", "null", `{"type":"intonation_check","version":1}`} {
		if _, err := Read(strings.NewReader(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

func FuzzRead(f *testing.F) {
	board := boardOf(f, "ukulele-12edo")
	p, err := MakePlan(board, PlanOptions{Notes: 6})
	if err != nil {
		f.Fatal(err)
	}
	c := NewCheck(board, p, UsualSettings)
	for i := range c.Entries[:6] {
		c.Entries[i].Plucks = []Pluck{{F1Hz: board.Hz(c.Entries[i].Note), SigmaCents: 0.1}}
	}
	var b bytes.Buffer
	if err := c.Write(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"type":"intonation_check","version":1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(bytes.NewReader(data))
		if err != nil || len(c.Board.Strings) > 12 || len(c.Entries) > 200 {
			return
		}
		_, _ = c.Fit()
		c.Prompt()
		c.Slips()
		c.Confirm()
		c.Redo()
	})
}
