package engine

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tunerd/internal/capture"
	"tunerd/internal/pitch"
	"tunerd/internal/sound"
)

// A tape plays samples.
type tape struct {
	samples []float64
	rate    int
	at      int64
	gapAt   int64 // here samples are lost; 0: nowhere
	gap     int64 // so many
}

func (p *tape) Name() string    { return "tape" }
func (p *tape) SampleRate() int { return p.rate }
func (p *tape) Live() bool      { return false }
func (p *tape) Close() error    { return nil }
func (p *tape) Read(_ context.Context, dst []float64) (capture.Block, error) {
	if p.gapAt > 0 && p.at >= p.gapAt {
		p.at, p.gapAt = p.at+p.gap, 0
	}
	n := copy(dst, p.samples[p.at:])
	if n == 0 {
		return capture.Block{}, io.EOF
	}
	p.at += int64(n)
	return capture.Block{Samples: dst[:n], Start: p.at - int64(n)}, nil
}

// TestListenerReadsEachPluckOnce plays three plucks of known pitch that ring on into each other and
// a fourth that is stopped too soon. The pitch glides, so that only the same moment of each gives
// the same reading: its truth is the pitch at the middle of the window. Seed 11.
func TestListenerReadsEachPluckOnce(t *testing.T) {
	const rate = 48000
	window := [2]float64{0.3, 1.5}
	rng := rand.New(rand.NewPCG(11, 1))
	scene := make([]float64, 12*rate)
	spec := sound.String(146.83)
	spec.GlideCents, spec.GlideTau = 8, 0.4
	var truth []float64
	for i, f := range []float64{146.83, 148.1, 147.3, 146.83} {
		spec := spec
		spec.F1Hz = f
		spec.DampS = 2.6
		if i == 3 {
			spec.DampS = 0.5
		}
		spec.AddTo(scene, rate/2+i*3*rate*9/10, rate, rng)
		truth = append(truth, f*math.Exp2(spec.CentsAt((window[0]+window[1])/2)/1200))
	}
	for i := range scene {
		scene[i] += 2e-4 * rng.NormFloat64()
	}
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
	if err != nil {
		t.Fatal(err)
	}
	l, err := NewListener(ListenerConfig{SampleRate: rate, Tracker: tracker, Window: window})
	if err != nil {
		t.Fatal(err)
	}
	l.Expect(70, []float64{146.83})
	var plucks []Pluck
	short, readings := 0, 0
	err = l.Run(t.Context(), &tape{samples: scene, rate: rate}, func(h Heard) {
		switch {
		case h.Pluck != nil:
			plucks = append(plucks, *h.Pluck)
		case h.Unread == TooShort:
			short++
		case h.Now != nil:
			readings++
		}
	})
	if err != nil || len(plucks) != 3 || short != 1 || readings < 100 {
		t.Fatalf("%d plucks, %d short, %d readings, error %v; want 3 plucks and 1 short", len(plucks), short, readings, err)
	}
	for i, p := range plucks {
		// The glide bends within the window, which the estimator follows to a tenth of a cent.
		if off := 1200 * math.Log2(p.F1Hz/truth[i]); math.Abs(off) > 0.1+3*p.SigmaCents {
			t.Errorf("pluck %d: %.3f cents off (±%.3f)", i, off, p.SigmaCents)
		}
		if at := 0.5 + 2.7*float64(i); math.Abs(p.OnsetS-at) > 0.03 {
			t.Errorf("pluck %d: onset at %.3f s, want %.3f", i, p.OnsetS, at)
		}
	}
}

// TestListenerSaysThatSoundWasLost: a note of which samples are missing is neither read nor called too
// short, and what is found of it behind the gap is no pluck of its own.
func TestListenerSaysThatSoundWasLost(t *testing.T) {
	const rate = 48000
	for _, c := range []struct {
		name   string
		at     float64 // s after the second pluck
		lost   float64 // s
		plucks int
		unread []Unread
	}{
		{"within its window", 0.6, 0.2, 2, []Unread{SoundLost}},
		{"at its onset", -0.05, 0.2, 2, []Unread{SoundLost}},
		{"after its window", 1.8, 0.05, 3, []Unread{SoundLost}}, // what still rings might be another
		{"between notes", 2.75, 0.02, 3, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(12, 1))
			scene := make([]float64, 11*rate)
			for i := range 3 {
				spec := sound.String(146.83)
				spec.DampS = 2.6
				spec.AddTo(scene, rate/2+i*3*rate, rate, rng)
			}
			for i := range scene {
				scene[i] += 2e-4 * rng.NormFloat64()
			}
			tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
			if err != nil {
				t.Fatal(err)
			}
			source := &tape{samples: scene, rate: rate, gapAt: int64((3.5 + c.at) * rate), gap: int64(c.lost * rate)}
			l, err := NewListener(ListenerConfig{SampleRate: rate, Tracker: tracker, Window: [2]float64{0.3, 1.5}})
			if err != nil {
				t.Fatal(err)
			}
			l.Expect(70, []float64{146.83})
			plucks, unread := 0, []Unread(nil)
			err = l.Run(t.Context(), source, func(h Heard) {
				switch {
				case h.Pluck != nil:
					plucks++
				case h.Unread != "":
					unread = append(unread, h.Unread)
				}
			})
			if err != nil || plucks != c.plucks || !slices.Equal(unread, c.unread) {
				t.Errorf("%d plucks, unread %q, %v; want %d, %q", plucks, unread, err, c.plucks, c.unread)
			}
		})
	}
}

func TestListenerRefusesAWindow(t *testing.T) {
	for _, w := range [][2]float64{{1, 0.5}, {-1, 1}, {0.3, 0.35}, {0, 100}, {math.NaN(), 1}} {
		if _, err := NewListener(ListenerConfig{SampleRate: 48000, Window: w}); err == nil {
			t.Errorf("window %v was taken", w)
		}
	}
}

// A listener beside a session reads what one alone does, and the session's readings are those that it has without
// one. One that takes its place hears what comes from then on.
func TestListenBesideASession(t *testing.T) {
	const rate = 48000
	scene := make([]float64, 8*rate)
	rng := rand.New(rand.NewPCG(12, 1))
	for i, f := range []float64{146.83, 220} {
		spec := sound.String(f)
		spec.DampS = 2.6
		spec.AddTo(scene, rate/2+i*3*rate, rate, rng)
	}
	for i := range scene {
		scene[i] += 2e-4 * rng.NormFloat64()
	}
	listener := func() *Listener {
		tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
		if err != nil {
			t.Fatal(err)
		}
		l, err := NewListener(ListenerConfig{SampleRate: rate, Tracker: tracker, Window: [2]float64{0.3, 1.5}})
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	var alone []Pluck
	err := listener().Run(t.Context(), &tape{samples: scene, rate: rate}, func(h Heard) {
		if h.Pluck != nil {
			alone = append(alone, *h.Pluck)
		}
	})
	if err != nil || len(alone) != 2 {
		t.Fatalf("alone: %d plucks, %v", len(alone), err)
	}
	var s *Session
	var beside, second []Pluck
	create := func(with bool) (readings int64) {
		tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
		if err != nil {
			t.Fatal(err)
		}
		s = NewSession(Config{Source: &tape{samples: scene, rate: rate}, Tracker: tracker, Resolver: &guitar{}})
		if with {
			s.Listen(listener(), func(h Heard) {
				if h.Pluck == nil {
					return
				}
				beside = append(beside, *h.Pluck)
				s.Listen(listener(), func(h Heard) {
					if h.Pluck != nil {
						second = append(second, *h.Pluck)
					}
				})
			})
		}
		if err := s.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
		return s.Counts().Readings
	}
	if without, with := create(false), create(true); without != with || with == 0 {
		t.Errorf("%d readings with a listener beside, %d without", with, without)
	}
	if len(beside) != 1 || len(second) != 1 || beside[0].F1Hz != alone[0].F1Hz || math.Abs(1200*math.Log2(second[0].F1Hz/alone[1].F1Hz)) > 3*alone[1].SigmaCents {
		t.Errorf("beside a session %v and then %v, alone %v", beside, second, alone)
	}
}

// The news of a lost input reaches who listens beside, once.
func TestListenerBesideHearsOfALoss(t *testing.T) {
	feed, err := capture.NewFeed("feed", 48000)
	if err != nil {
		t.Fatal(err)
	}
	tracker, err := pitch.NewTracker(pitch.Config{SampleRate: 48000, Live: true})
	if err != nil {
		t.Fatal(err)
	}
	l, err := NewListener(ListenerConfig{SampleRate: 48000, Tracker: tracker, Window: [2]float64{0.3, 1.5}})
	if err != nil {
		t.Fatal(err)
	}
	s := NewSession(Config{Source: feed, Tracker: &parrot{}, Resolver: &guitar{}})
	lost := make(chan string, 8)
	s.Listen(l, func(h Heard) {
		if h.Lost != "" {
			lost <- h.Lost
		}
	})
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	if err := feed.Push(0, make([]float32, 512)); err != nil {
		t.Fatal(err)
	}
	feed.Break()
	if said := <-lost; said != errLost(feed) {
		t.Errorf("said %q", said)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if len(lost) != 0 {
		t.Errorf("said again: %q", <-lost)
	}
}

// TestListenerSaysWhyANoteIsNotRead: only a note that ends is too short. Seed 13.
func TestListenerSaysWhyANoteIsNotRead(t *testing.T) {
	const rate, struck = 48000, 0.5
	for _, c := range []struct {
		want  Unread
		cents func(s float64) float64 // of the string, s seconds after it was struck
	}{
		{TooShort, func(s float64) float64 { return 0 }},
		{Moved, func(s float64) float64 { return 150 * min(1, max(0, s-0.4)/0.4) }},
		{Unsteady, func(s float64) float64 { return 0 }},
	} {
		t.Run(string(c.want), func(t *testing.T) {
			rng := rand.New(rand.NewPCG(13, 1))
			scene := make([]float64, 4*rate)
			turns := 0.0
			for i := range scene {
				s := float64(i)/rate - struck
				scene[i] = 2e-4 * rng.NormFloat64()
				if c.want == Unsteady { // what belongs to no string swells: partials of a free bar, 1 : 2.757 : 5.404 (from memory)
					for _, hz := range []float64{190, 523.8, 1026.8} {
						scene[i] += 0.2 * min(1, max(0, s-0.4)/0.5) * math.Sin(2*math.Pi*hz*s)
					}
				}
				if s < 0 || c.want == TooShort && s > 0.6 {
					continue
				}
				turns += 146.83 * math.Exp2(c.cents(s)/1200) / rate
				for k := 1.0; k <= 6; k++ {
					scene[i] += 0.3 / k * math.Exp(-s*(0.5+0.2*k)) * math.Sin(2*math.Pi*k*turns)
				}
			}
			tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
			if err != nil {
				t.Fatal(err)
			}
			l, err := NewListener(ListenerConfig{SampleRate: rate, Tracker: tracker, Window: [2]float64{0.3, 1.5}})
			if err != nil {
				t.Fatal(err)
			}
			l.Expect(70, []float64{146.83})
			var unread []Unread
			err = l.Run(t.Context(), &tape{samples: scene, rate: rate}, func(h Heard) {
				switch {
				case h.Pluck != nil:
					t.Errorf("%.2f Hz was read", h.Pluck.F1Hz)
				case h.Unread != "":
					unread = append(unread, h.Unread)
				}
			})
			if err != nil || !slices.Equal(unread, []Unread{c.want}) {
				t.Errorf("%q, %v; want %q", unread, err, c.want)
			}
		})
	}
}
