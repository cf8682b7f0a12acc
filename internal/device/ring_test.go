package device

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
	var b Block
	var pos, lost int64
	for ended := false; ; {
		if r.pull(&b) {
			lost += b.Lost
			if b.Start != pos+b.Lost {
				t.Fatalf("a block at %d, want %d", b.Start, pos+b.Lost)
			}
			pos = b.Start
			for _, v := range b.Samples {
				if v != float32(pos%(1<<24)) {
					t.Fatalf("sample %d is %v", pos, v)
				}
				pos++
			}
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
	frames := make([]float32, 2*BlockLen)
	b := &Block{Samples: make([]float32, 0, BlockLen)}
	allocs := testing.AllocsPerRun(1000, func() {
		r.push(frames, 2, 0, true)
		for r.pull(b) {
		}
	})
	if allocs != 0 {
		t.Errorf("push and pull allocate %v times, want 0", allocs)
	}
}
