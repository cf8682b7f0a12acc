package bench

import (
	"fmt"
	"strings"
	"testing"

	"tunerd/internal/display"
)

// told is what waits for a watcher, a line each.
func told(w *watcher) string {
	var b strings.Builder
	for _, m := range w.take(nil) {
		fmt.Fprintf(&b, "%s %s\n", m.Event, m.Data)
	}
	return b.String()
}

// A watcher that fetches nothing holds one message of a kind, and showing frames never waits.
func TestLatestWins(t *testing.T) {
	h := newHub()
	w, err := h.watch()
	if err != nil {
		t.Fatal(err)
	}
	for i := range 1000 {
		if err := h.Show(&display.Frame{TimeS: float64(i), State: display.Silent}); err != nil {
			t.Fatal(err)
		}
	}
	got := told(w)
	if n := strings.Count(got, "frame "); n != 1 || !strings.Contains(got, `"t_s":999`) {
		t.Errorf("%d frames waited, want the newest alone: %s", n, got)
	}
	if again := w.take(nil); len(again) != 0 {
		t.Errorf("a message came twice: %s", again)
	}
}

// What a left-out frame had to tell comes with the next.
func TestNothingIsLostWithFramesLeftOut(t *testing.T) {
	h := newHub()
	w, err := h.watch()
	if err != nil {
		t.Fatal(err)
	}
	show := func(f display.Frame) string {
		t.Helper()
		f.State = display.Sounding
		if err := h.Show(&f); err != nil {
			t.Fatal(err)
		}
		return told(w)
	}
	show(display.Frame{TimeS: 0})
	if got := show(display.Frame{TimeS: 0.001}); got != "" {
		t.Errorf("more than %d frames a second: %s", frameHz, got)
	}
	if got := show(display.Frame{TimeS: 0.002, Message: "hello", AfterGap: true, Gaps: 1}); !strings.Contains(got, `"event":"gap"`) || !strings.Contains(got, `"message":"hello"`) {
		t.Errorf("a gap was not told at once: %s", got)
	}
	h.held.NewOnset = true
	if got := show(display.Frame{TimeS: 1}); !strings.Contains(got, `"new_note":true`) {
		t.Errorf("a new note was lost: %s", got)
	}
}

func TestPace(t *testing.T) {
	p := pace{periodS: 1.0 / 60}
	count := 0
	const hop = 512.0 / 48000
	for i := range 9375 { // 100 s of readings
		if p.due(float64(i) * hop) {
			count++
		}
	}
	if count < 5990 || count > 6010 {
		t.Errorf("%d frames in 100 s, want 6000", count)
	}
	if !p.due(0) || p.due(hop) || !p.due(2*hop) {
		t.Error("time that begins anew is not followed")
	}
}
