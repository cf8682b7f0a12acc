package capture

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"testing"
	"testing/synctest"
	"time"
)

func newTestFeed(t *testing.T) *Feed {
	t.Helper()
	f, err := NewFeed("test", 48000)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// counted returns n samples, the first of which is from.
func counted(from, n int) []float32 {
	s := make([]float32, n)
	for i := range s {
		s[i] = float32(from + i)
	}
	return s
}

func mustPush(t *testing.T, f *Feed, start, n int) {
	t.Helper()
	if err := f.Push(int64(start), counted(start, n)); err != nil {
		t.Fatal(err)
	}
}

// Whatever the sizes of pushes and reads, every sample comes once, in order, with its index.
func TestFeedKeepsOrder(t *testing.T) {
	for _, room := range []int{1, 3, 512, 5000} {
		f := newTestFeed(t)
		at := 0
		for _, n := range []int{1, 7, 512, 1024, 3} {
			mustPush(t, f, at, n)
			at += n
		}
		dst := make([]float64, room)
		for next := int64(0); next < int64(at); {
			b, err := f.Read(t.Context(), dst)
			if err != nil {
				t.Fatal(err)
			}
			if b.Start != next || b.Lost != 0 || len(b.Samples) == 0 {
				t.Fatalf("room %d: block at %d of %d samples, %d lost; want it at %d", room, b.Start, len(b.Samples), b.Lost, next)
			}
			for i, x := range b.Samples {
				if x != float64(next)+float64(i) {
					t.Fatalf("room %d: sample %d is %g", room, next+int64(i), x)
				}
			}
			next += int64(len(b.Samples))
		}
	}
}

func TestFeedShowsGaps(t *testing.T) {
	f := newTestFeed(t)
	mustPush(t, f, 1000, 10) // the first number is free
	mustPush(t, f, 1010+77, 10)
	dst := make([]float64, 10)
	for _, want := range []Block{{Start: 0, Lost: 0}, {Start: 87, Lost: 77}} {
		b, err := f.Read(t.Context(), dst)
		if err != nil || b.Start != want.Start || b.Lost != want.Lost {
			t.Errorf("block at %d, %d lost, %v; want %d, %d", b.Start, b.Lost, err, want.Start, want.Lost)
		}
	}
	if err := f.Push(1000, counted(0, 1)); err == nil {
		t.Error("samples from before were taken")
	}
}

// A reader that is behind loses what there is no room for, and sees it as a gap; the pusher never
// waits.
func TestFeedNeverHoldsUpItsPusher(t *testing.T) {
	f := newTestFeed(t)
	for i := range feedChunks + 10 {
		mustPush(t, f, i*100, 100)
	}
	dst := make([]float64, 100)
	for range feedChunks {
		if _, err := f.Read(t.Context(), dst); err != nil {
			t.Fatal(err)
		}
	}
	mustPush(t, f, (feedChunks+10)*100, 100)
	b, err := f.Read(t.Context(), dst)
	if err != nil || b.Lost != 10*100 {
		t.Errorf("%d samples lost, %v; want 1000", b.Lost, err)
	}
}

// After a break of two seconds the clock tells what is missing: 2 s less the samples that came.
func TestFeedGoesOnAfterABreak(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newTestFeed(t)
		dst := make([]float64, 1000)
		mustPush(t, f, 0, 1000)
		f.Break()
		if b, err := f.Read(t.Context(), dst); err != nil || len(b.Samples) != 1000 {
			t.Fatalf("what came before the break: %d samples, %v", len(b.Samples), err)
		}
		if _, err := f.Read(t.Context(), dst); !errors.Is(err, ErrDeviceLost) {
			t.Fatalf("%v, want %v", err, ErrDeviceLost)
		}
		time.Sleep(2 * time.Second)
		mustPush(t, f, 0, 480) // the pusher counts anew
		b, err := f.Read(t.Context(), dst)
		if want := int64(2*48000 - 480); err != nil || b.Lost != want || b.Start != 1000+want {
			t.Errorf("block at %d, %d lost, %v; want %d lost", b.Start, b.Lost, err, want)
		}
	})
}

// A pusher that goes before it has pushed anything leaves no gap.
func TestFeedBreaksBeforeItBegins(t *testing.T) {
	f := newTestFeed(t)
	f.Break()
	if _, err := f.Read(t.Context(), make([]float64, 10)); !errors.Is(err, ErrDeviceLost) {
		t.Errorf("%v, want %v", err, ErrDeviceLost)
	}
	mustPush(t, f, 500, 10)
	if b, err := f.Read(t.Context(), make([]float64, 10)); err != nil || b.Start != 0 || b.Lost != 0 {
		t.Errorf("block at %d, %d lost, %v", b.Start, b.Lost, err)
	}
}

func TestFeedRefusesWhatIsNoSound(t *testing.T) {
	f := newTestFeed(t)
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if err := f.Push(0, []float32{0, float32(x)}); err == nil {
			t.Errorf("%g was taken", x)
		}
	}
}

func TestFeedEndsARead(t *testing.T) {
	f := newTestFeed(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := f.Read(ctx, make([]float64, 1)); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want %v", err, context.Canceled)
	}
	if err := errors.Join(f.Close(), f.Close()); err != nil {
		t.Error(err)
	}
	if _, err := f.Read(t.Context(), make([]float64, 1)); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("%v, want %v", err, fs.ErrClosed)
	}
}
