package capture

import (
	"sync"
	"testing"
	"time"
)

// TestRing pushes from one goroutine and pulls from another, each at its own pace and in sizes
// that do not fit. Every sample must come through in order or be counted as lost.
func TestRing(t *testing.T) {
	const frames, pushed = 2000, 1000 // frames a push, pushes
	r := newRing(48000, 200*time.Millisecond)
	var wg sync.WaitGroup
	wg.Go(func() {
		buf := make([]float32, 2*frames)
		next := int64(0)
		for range pushed {
			for i := range frames {
				buf[2*i+1] = float32(next % (1 << 24))
				next++
			}
			r.push(buf, 2, 2, false)
		}
	})
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	dst := make([]float64, 479)
	var pos, lost int64
	for ended := false; ; {
		n, gap := r.pull(dst)
		pos += gap
		lost += gap
		for _, v := range dst[:n] {
			if v != float64(pos%(1<<24)) {
				t.Fatalf("sample %d is %v", pos, v)
			}
			pos++
		}
		if n > 0 {
			continue
		}
		if ended {
			break
		}
		select {
		case <-r.ready:
		case <-done:
			ended = true
		}
	}
	if got := pos + r.unreported; got != frames*pushed {
		t.Errorf("%d samples came or were counted as lost, want %d", got, frames*pushed)
	}
	t.Logf("%d of %d samples lost", lost, frames*pushed)
}

func TestRingAllocatesNothing(t *testing.T) {
	r := newRing(48000, time.Second)
	frames := make([]float32, 2*slotFrames)
	dst := make([]float64, 100)
	allocs := testing.AllocsPerRun(1000, func() {
		r.push(frames, 2, 0, true)
		for {
			if n, _ := r.pull(dst); n == 0 {
				break
			}
		}
	})
	if allocs != 0 {
		t.Errorf("push and pull allocate %v times, want 0", allocs)
	}
}
