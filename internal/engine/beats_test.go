package engine

import (
	"strings"
	"testing"

	"tunerd/internal/beats"
	"tunerd/internal/capture"
)

// A fakeMeter counts what it is given.
type fakeMeter struct {
	samples, resets, measured int
	err                       error
}

func (m *fakeMeter) Push(x []float64) { m.samples += len(x) }
func (m *fakeMeter) Reset()           { m.resets++ }
func (m *fakeMeter) Measure() (beats.Measurement, error) {
	m.measured++
	return beats.Measurement{N: 3, M: 2, Hz: 330, BeatHz: 1.5, SigmaHz: 0.01, Known: true, Cents: 7.9, CentsSigma: 0.05}, m.err
}

func TestBeatWatch(t *testing.T) {
	m := &fakeMeter{}
	w := BeatWatch{Meter: m, Lower: "A2", Upper: "E3", SampleRate: 1000}
	block := capture.Block{Samples: make([]float64, 400)}
	for range 2 {
		if _, due := w.follow(block, false, false); due {
			t.Error("measured within a second of sound")
		}
	}
	beat, due := w.follow(block, true, false)
	if !due || m.samples != 1200 || m.resets != 1 {
		t.Errorf("due %v after %d samples, %d resets", due, m.samples, m.resets)
	}
	const want = "A2-E3 3/2: 1.50 ± 0.01 beats a second, wide by 7.90 cents; turn E3 down or A2 up"
	if beat.String() != want {
		t.Errorf("%q, want %q", beat.String(), want)
	}
	for range 3 {
		beat, due = w.follow(block, false, true)
	}
	if !due || beat.String() != "" || m.measured != 1 {
		t.Errorf("in silence: due %v, %q, measured %d times", due, beat.String(), m.measured)
	}
	m.err = beats.ErrUnheard
	for range 3 {
		beat, due = w.follow(block, false, false)
	}
	if !due || strings.TrimSpace(beat.String()) != "" {
		t.Errorf("nothing heard: due %v, %q", due, beat.String())
	}
}
