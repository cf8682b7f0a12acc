package coupling_test

import (
	"slices"
	"testing"
	"testing/fstest"

	"tunerd/internal/coupling"
)

func TestFindTakes(t *testing.T) {
	folder := fstest.MapFS{}
	for _, name := range []string{"10-turned-6.wav", "02-turned-3.WAV", "1-start.flac", "03_turned3 again.wav", "4-turned-0.wav", "strum.wav", "notes.txt"} {
		folder[name] = &fstest.MapFile{}
	}
	takes, unknown, err := coupling.FindTakes(folder)
	if err != nil {
		t.Fatal(err)
	}
	want := []coupling.Take{{"1-start.flac", 1, 0}, {"02-turned-3.WAV", 2, 3}, {"03_turned3 again.wav", 3, 3}, {"10-turned-6.wav", 10, 6}}
	if !slices.Equal(takes, want) {
		t.Errorf("%+v, want %+v", takes, want)
	}
	if !slices.Equal(unknown, []string{"4-turned-0.wav", "strum.wav"}) {
		t.Errorf("unknown: %q", unknown)
	}
	folder["02-start.wav"] = &fstest.MapFile{}
	if _, _, err := coupling.FindTakes(folder); err == nil {
		t.Error("two recordings of number 2 were taken")
	}
}

// TestKeptComesBack: what is written is what is read, and a wider σ is all that a month does.
func TestKeptComesBack(t *testing.T) {
	p, known := onSprings(t, two(), 40, 0.3)
	data, err := coupling.File{BehindMM: 90, Known: known}.Encode()
	if err != nil {
		t.Fatal(err)
	}
	f, err := coupling.DecodeFile(data)
	if err != nil {
		t.Fatal(err)
	}
	l, err := coupling.NewLearner(p, f.Known)
	if err != nil {
		t.Fatal(err)
	}
	again := l.Known(f.Known)
	if again.Sessions != 2 || again.Mean[0] != known.Mean[0] || !(again.Covariance[0][0] > known.Covariance[0][0]) {
		t.Errorf("%+v after %+v", again, known)
	}
	for _, bad := range []string{"", "{}", `{"format":"tunerd coupling 1"}`, `{"format":"tunerd coupling 9","known":{}}`, "[1]"} {
		if _, err := coupling.DecodeFile([]byte(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}

// TestSpringByHand: with T* from 80 to 84 and 82 N the springs pull with 6 N more, and a bridge on 40 N/mm
// would move by 6/40 = 0.15 mm.
func TestSpringByHand(t *testing.T) {
	before, known := onSprings(t, two(), 40, 0.01)
	strs := two()
	strs[0].TensionN, strs[1].TensionN = 84, 82
	after, err := coupling.NewPrior(coupling.FloatingBridge, strs)
	if err != nil {
		t.Fatal(err)
	}
	l, err := coupling.NewLearner(after, known)
	if err != nil {
		t.Fatal(err)
	}
	s := l.SpringFor(before)
	near(t, "force", s.ForceN, 6, 1e-9)
	near(t, "way", s.WayMM, 0.15, 1e-9)
}
