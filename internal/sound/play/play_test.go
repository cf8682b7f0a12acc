package play

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"
)

const rate = 48000

// A fakeStream asks for sound until it is closed, as a device does.
type fakeStream struct {
	heard  []float32 // the first channel
	stop   chan struct{}
	ended  chan struct{}
	freeze int // asks for nothing after so many calls; 0: goes on
	after  int // after so many calls it calls
	then   func()
}

func (s *fakeStream) close() error {
	close(s.stop)
	<-s.ended
	return nil
}

func (s *fakeStream) run(fill func([]float32, int)) {
	defer close(s.ended)
	buf := make([]float32, 2*512)
	for calls := 0; ; calls++ {
		select {
		case <-s.stop:
			return
		case <-time.After(time.Millisecond):
		}
		if s.freeze > 0 && calls >= s.freeze {
			continue
		}
		if calls == s.after && s.then != nil {
			s.then()
		}
		fill(buf, 2)
		for i := 0; i < len(buf); i += 2 {
			s.heard = append(s.heard, buf[i])
		}
	}
}

func fakePlayer(s *fakeStream) *Player {
	s.stop, s.ended = make(chan struct{}), make(chan struct{})
	return &Player{name: "fake", rate: rate, end: func() error { return nil },
		start: func(fill func([]float32, int)) (stream, error) {
			go s.run(fill)
			return s, nil
		}}
}

func steady(level float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = level
	}
	return x
}

func TestPlaysAllAndThenSilence(t *testing.T) {
	s := &fakeStream{}
	x := make([]float64, 10_000)
	for i := range x {
		x[i] = 0.4 * math.Sin(float64(i))
	}
	if err := fakePlayer(s).Play(context.Background(), x); err != nil {
		t.Fatal(err)
	}
	const lead = leadIn * rate
	if len(s.heard) < lead+len(x) {
		t.Fatalf("%d samples of %d", len(s.heard), lead+len(x))
	}
	for i, v := range s.heard {
		want := float32(0)
		if i >= lead && i < lead+len(x) {
			want = float32(x[i-lead])
		}
		if v != want {
			t.Fatalf("sample %d is %g, want %g", i, v, want)
		}
	}
}

func TestLoudSoundIsTurnedDown(t *testing.T) {
	s := &fakeStream{}
	x := steady(1, 5000)
	if err := fakePlayer(s).Play(context.Background(), x); err != nil {
		t.Fatal(err)
	}
	if s.heard[leadIn*rate+100] != MaxPeak || x[100] != 1 {
		t.Errorf("played %g of %g", s.heard[leadIn*rate+100], x[100])
	}
}

// Broken off in the middle of a steady sound, no step is larger than that of a half cosine of 30
// ms: π/2/(0.03·48000) of the level.
func TestBreakingOffDoesNotClick(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	s := &fakeStream{after: 50, then: cancel}
	if err := fakePlayer(s).Play(ctx, steady(0.4, 100*rate)); !errors.Is(err, context.Canceled) {
		t.Errorf("broken off: %v", err)
	}
	largest := 0.0
	for i := int(leadIn*rate) + 1; i < len(s.heard); i++ { // the sound itself begins with a step
		largest = max(largest, math.Abs(float64(s.heard[i]-s.heard[i-1])))
	}
	if limit := 0.4 * math.Pi / 2 / (stopFade * rate) * 1.01; largest > limit || largest == 0 {
		t.Errorf("largest step %.2g, want at most %.2g", largest, limit)
	}
	if end := s.heard[len(s.heard)-1]; end != 0 {
		t.Errorf("ends at %g", end)
	}
}

func TestLostDevice(t *testing.T) {
	s := &fakeStream{freeze: 5}
	if err := fakePlayer(s).Play(context.Background(), steady(0.1, 100*rate)); err == nil {
		t.Error("a device that stopped asking was not noticed")
	}
}

func TestNaNIsRefused(t *testing.T) {
	if err := fakePlayer(&fakeStream{}).Play(context.Background(), []float64{math.NaN()}); err == nil {
		t.Error("NaN was accepted")
	}
}
