package device

import (
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// A fakeDriver is an audio library with one running stream at most, which a test can have hang or
// lose samples. Channel c of frame i holds the sample fakeSample(i, c); frames pass in real time
// whether a stream takes them or not.
type fakeDriver struct {
	begin    time.Time
	rates    []int         // Hz, that can be opened; nil: all
	mute     atomic.Bool   // streams deliver nothing
	overflow atomic.Bool   // the next delivery is flagged
	hang     chan struct{} // when set, a stream's close waits for it

	inCall  atomic.Int32
	overlap atomic.Bool // two calls were in progress at once

	mu          sync.Mutex
	list        []Device
	initialized int
	opened      []format
	running     int // streams
	heard       []float32
}

func newFakeDriver(list ...Device) *fakeDriver {
	return &fakeDriver{begin: time.Now(), list: list}
}

// fakeMic is a device of n input channels.
func fakeMic(name string, n int) Device {
	return Device{Name: name, HostAPI: "fake", MaxInput: n, DefaultRate: 44100}
}

// fakeSample counts through the numbers that a float32 holds exactly.
func fakeSample(frame int64, channel int) float32 {
	return float32(frame%(1<<20))/(1<<20) + float32(channel)
}

// call marks a call to the driver; the function that it returns ends it.
func (d *fakeDriver) call() (done func()) {
	if d.inCall.Add(1) > 1 {
		d.overlap.Store(true)
	}
	return func() { d.inCall.Add(-1) }
}

func (d *fakeDriver) initialize() error {
	defer d.call()()
	d.mu.Lock()
	defer d.mu.Unlock()
	d.initialized++
	return nil
}

func (d *fakeDriver) terminate() error {
	defer d.call()()
	d.mu.Lock()
	defer d.mu.Unlock()
	d.initialized--
	if d.running > 0 {
		return errors.New("terminated with a stream open")
	}
	return nil
}

func (d *fakeDriver) devices() ([]Device, error) {
	defer d.call()()
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.initialized < 1 {
		return nil, errors.New("not initialized")
	}
	return d.list, nil
}

func (d *fakeDriver) open(f format, each func(s *fakeStream)) (stream, error) {
	defer d.call()()
	if err := d.check(f); err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.opened = append(d.opened, f)
	d.running++
	s := &fakeStream{driver: d, format: f, frames: make([]float32, BlockLen*f.channels), stop: make(chan struct{}), stopped: make(chan struct{})}
	go s.run(each)
	return s, nil
}

func (d *fakeDriver) check(f format) error {
	if d.rates != nil && !slices.Contains(d.rates, f.rate) {
		return errors.New("invalid sample rate")
	}
	return nil
}

func (d *fakeDriver) openInput(_ Device, f format, deliver deliverFunc) (stream, error) {
	return d.open(f, func(s *fakeStream) {
		if d.mute.Load() {
			return
		}
		end := int64(time.Since(d.begin).Seconds()*float64(f.rate) + 0.5)
		for i := range s.frames {
			s.frames[i] = fakeSample(end-BlockLen+int64(i/f.channels), i%f.channels)
		}
		deliver(s.frames, d.overflow.Swap(false))
	})
}

func (d *fakeDriver) openOutput(_ Device, f format, fill fillFunc) (stream, error) {
	return d.open(f, func(s *fakeStream) {
		fill(s.frames)
		d.mu.Lock()
		defer d.mu.Unlock()
		for i := 0; i < len(s.frames); i += f.channels {
			d.heard = append(d.heard, s.frames[i])
		}
	})
}

func (d *fakeDriver) checkOutput(_ Device, f format) error {
	defer d.call()()
	return d.check(f)
}

type fakeStream struct {
	driver        *fakeDriver
	format        format
	frames        []float32
	stop, stopped chan struct{}
}

// run works in steps of BlockLen, as a device does.
func (s *fakeStream) run(each func(*fakeStream)) {
	defer close(s.stopped)
	tick := time.NewTicker(time.Duration(BlockLen * int64(time.Second) / int64(s.format.rate)))
	defer tick.Stop()
	for {
		select {
		case <-s.stop:
			return
		case <-tick.C:
			each(s)
		}
	}
}

func (s *fakeStream) close() error {
	defer s.driver.call()()
	if s.driver.hang != nil {
		<-s.driver.hang
	}
	close(s.stop)
	<-s.stopped
	s.driver.mu.Lock()
	defer s.driver.mu.Unlock()
	s.driver.running--
	return nil
}

// checkClosed checks that nothing was left open and that calls came one at a time.
func (d *fakeDriver) checkClosed(t *testing.T) {
	t.Helper()
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.running != 0 || d.initialized != 0 {
		t.Errorf("%d streams and %d initializations left behind", d.running, d.initialized)
	}
	if d.overlap.Load() {
		t.Error("two calls to the driver at once")
	}
}
