package benchtest

import (
	"errors"
	"slices"
	"sync"
	"testing"

	"tunerd/internal/bench"
	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/engine"
)

// A diary is a Keep that writes down what is asked of it.
type diary struct {
	mu     sync.Mutex
	events []string
	frames int
}

func (d *diary) note(event string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.events = append(d.events, event)
}

func (d *diary) Show(*display.Frame) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.frames++
	return nil
}

func (d *diary) keep(c bench.Chosen, source capture.Source) (engine.Sink, func(), error) {
	name := c.Tuning.String()
	if name == "5edo" {
		return nil, nil, errors.New("the disk is full")
	}
	d.note("begin " + name)
	return d, func() { d.note("end " + name) }, nil
}

// Every choice of what should sound is kept apart; holding a string is none.
func testReadingsAreKeptByChoice(t *testing.T, w *workshop) {
	d := &diary{}
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{keep: d.keep})
	r.play(t, Pluck(110, 0.3))
	for _, body := range []string{`{"string":2}`, `{"string":0,"instrument":"","tuning":"5edo"}`, `{"tuning":"31edo"}`} {
		r.ask(t, "PATCH", "/api/session", body)
		r.play(t, make([]float64, 4096))
	}
	r.stop()
	want := []string{"begin 12edo", "end 12edo", "begin 31edo", "end 31edo"}
	if !slices.Equal(d.events, want) {
		t.Errorf("kept: %q, want %q", d.events, want)
	}
	if d.frames == 0 {
		t.Error("no frame was kept")
	}
}
