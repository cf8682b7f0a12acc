package mic

import (
	"errors"
	"math"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tunerd/internal/device"
	"tunerd/internal/sampling"
)

const fakeRate = 48000 // Hz

// A fakeCard is an input device whose processes a test can make hang, fall silent or end. Frame i
// holds the sample fakeSample(i); frames pass in real time whether a process takes them or not.
// Use it in a synctest bubble.
type fakeCard struct {
	begin time.Time
	delay time.Duration // from when a process opens the card to the first frames
	gone  atomic.Bool   // it cannot be opened
	hangs atomic.Bool   // an open that is begun does not end
	mute  atomic.Bool   // processes deliver nothing
	says  error         // why it cannot be opened

	mu      sync.Mutex
	asked   []device.Input
	running []*fakeProcess
}

func newFakeCard() *fakeCard {
	return &fakeCard{begin: time.Now(), says: errors.New("no microphone found")}
}

// fakeSample counts through the numbers that a float32 holds exactly.
func fakeSample(frame int64) float32 { return float32(frame%(1<<20)) / (1 << 20) }

// frames is how many have passed.
func (c *fakeCard) frames() int64 {
	return int64(math.Floor(time.Since(c.begin).Seconds()*fakeRate + 1e-6))
}

func (c *fakeCard) record(in device.Input) (recorder, error) {
	p := &fakeProcess{card: c, killed: make(chan struct{}), closed: make(chan struct{})}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asked = append(c.asked, in)
	c.running = append(c.running, p)
	return p, nil
}

// crash ends the newest process.
func (c *fakeCard) crash() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.running[len(c.running)-1].Kill()
}

// checkClosed checks that no process was left behind, and none but the last ones at once.
func (c *fakeCard) checkClosed(t *testing.T) {
	t.Helper()
	c.mu.Lock()
	defer c.mu.Unlock()
	for i, p := range c.running {
		select {
		case <-p.closed:
		default:
			t.Errorf("process %d of %d was not closed", i+1, len(c.running))
		}
	}
}

type fakeProcess struct {
	card        *fakeCard
	once, close sync.Once
	killed      chan struct{}
	closed      chan struct{}
	first, next int64 // frames of the card
	opened      time.Time
}

var errEnded = errors.New("the sound process has ended")

func (p *fakeProcess) Open() (device.Opened, error) {
	switch {
	case p.card.hangs.Load():
		<-p.killed
		return device.Opened{}, errEnded
	case p.card.gone.Load():
		return device.Opened{}, p.card.says
	}
	p.opened = time.Now()
	p.first = p.card.frames()
	p.next = p.first
	return device.Opened{Name: "bench", Rate: fakeRate}, nil
}

// Next has no more than two seconds for a parent that is away.
func (p *fakeProcess) Next(b *device.Block) error {
	const n = device.BlockLen
	b.Lost = 0
	for {
		select {
		case <-p.killed:
			return errEnded
		default:
		}
		now := p.card.frames()
		switch {
		case p.card.mute.Load() || time.Since(p.opened) < p.card.delay:
			if p.next == p.first { // nothing has come yet
				p.first = now
			}
			p.next = now
		case now-p.next > 2*fakeRate:
			lost := now - 2*fakeRate - p.next
			b.Lost += lost
			p.next += lost
			continue
		case now-p.next >= n:
			b.Start = p.next - p.first
			b.Samples = b.Samples[:0]
			for i := range int64(n) {
				b.Samples = append(b.Samples, fakeSample(p.next+i))
			}
			p.next += n
			return nil
		}
		select {
		case <-p.killed:
		case <-time.After(sampling.Duration(n, fakeRate)):
		}
	}
}

func (p *fakeProcess) Kill()        { p.once.Do(func() { close(p.killed) }) }
func (p *fakeProcess) Said() string { return "" }
func (p *fakeProcess) Close() error {
	p.Kill()
	p.close.Do(func() { close(p.closed) })
	return nil
}
