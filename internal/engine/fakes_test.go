package engine

import (
	"context"
	"io"
	"math"
	"slices"
	"sync"

	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// A step is what one Read of a scripted source gives.
type step struct {
	n    int   // samples
	skip int64 // samples lost just before
	err  error
	wait <-chan struct{} // Read first waits for this
}

// A script is a source that plays steps and then ends.
type script struct {
	name  string
	rate  int
	live  bool
	waits bool // for its reader, though it is live
	steps []step
	sound []float64 // what the samples are; nil: whatever is there

	mu    sync.Mutex
	start int64
	reads int
}

func (s *script) Name() string    { return s.name }
func (s *script) SampleRate() int { return s.rate }
func (s *script) Live() bool      { return s.live }
func (s *script) Waits() bool     { return s.waits || !s.live }
func (s *script) Close() error    { return nil }

func (s *script) Read(ctx context.Context, dst []float64) (capture.Block, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.reads == len(s.steps) {
		return capture.Block{}, io.EOF
	}
	st := s.steps[s.reads]
	s.reads++
	if st.wait != nil {
		select {
		case <-st.wait:
		case <-ctx.Done():
			return capture.Block{}, ctx.Err()
		}
	}
	if st.err != nil {
		return capture.Block{}, st.err
	}
	n := min(st.n, len(dst))
	s.start += st.skip
	if s.sound != nil {
		copy(dst[:n], s.sound[s.start:])
	}
	block := capture.Block{Samples: dst[:n], Start: s.start, Lost: st.skip}
	s.start += int64(n)
	return block, nil
}

// blocks returns count steps of n samples each.
func blocks(count, n int) []step { return slices.Repeat([]step{{n: n}}, count) }

// A parrot is a tracker that says the same pitch after every Push.
type parrot struct {
	reading pitch.Reading
	before  func() // called at each Push
	pushed  int64  // samples
	flushed bool
}

func (p *parrot) Push(samples []float64, start int64, emit func(*pitch.Reading)) {
	if p.before != nil {
		p.before()
	}
	p.pushed += int64(len(samples))
	r := p.reading
	r.At = start + int64(len(samples))
	emit(&r)
}

func (p *parrot) Flush() { p.flushed = true }

func (p *parrot) Expect(float64, []float64) {}

// A guitar is a resolver with the open strings of a six-string guitar, of which it takes the one
// whose index was asked for last.
type guitar struct {
	held, resets int
	confirmed    int
	fret         int
}

var guitarHz = []float64{329.63, 246.94, 196.00, 146.83, 110.00, 82.41}

func (g *guitar) Resolve(f1Hz, _ float64) targets.Match {
	n := max(g.held, 1)
	return targets.Match{
		Target: targets.Target{Label: "string", Hz: guitarHz[n-1], String: n, Fret: g.fret},
		Cents:  1, BeatHz: f1Hz - guitarHz[n-1], Verdict: "sharp",
	}
}

func (g *guitar) Against(n int, f1Hz, sigma float64) targets.Match {
	held := g.held
	defer func() { g.held = held }()
	g.held = n
	return g.Resolve(f1Hz, sigma)
}

func (g *guitar) Beside(t targets.Target, f1Hz, sigma float64) targets.Match {
	cents := 1200 * math.Log2(f1Hz/t.Hz)
	return targets.Match{Target: t, Cents: cents, BeatHz: f1Hz - t.Hz, Verdict: targets.Verdict(cents, sigma, 0.5)}
}

func (g *guitar) Confirm()                       { g.confirmed++ }
func (g *guitar) Reset()                         { g.resets++ }
func (g *guitar) Hold(n int) error               { g.held = n; return nil }
func (g *guitar) Expected() (float64, []float64) { return 0, nil }

func (g *guitar) Strings() []targets.Target {
	var open []targets.Target
	for i, hz := range guitarHz {
		open = append(open, targets.Target{Label: "string", Hz: hz, String: i + 1})
	}
	return open
}

// A roll keeps all frames that it is shown.
type roll struct {
	mu     sync.Mutex
	frames []display.Frame
	each   func(*display.Frame) error
}

func (r *roll) Show(f *display.Frame) error {
	r.mu.Lock()
	var kept display.Frame
	copyFrame(&kept, f)
	r.frames = append(r.frames, kept)
	r.mu.Unlock()
	if r.each != nil {
		return r.each(f)
	}
	return nil
}

// states returns the states in the order shown, repetitions dropped.
func (r *roll) states() []display.State {
	var out []display.State
	for _, f := range r.frames {
		out = append(out, f.State)
	}
	return slices.Compact(out)
}
