package capture

import (
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// A fakeDriver is a sound system with one running stream at most, whose devices a test can
// make vanish, hang or lose samples. Channel c of frame i holds the sample fakeSample(i, c);
// frames pass in real time whether a stream takes them or not. Run it in a synctest bubble.
type fakeDriver struct {
	begin    time.Time
	delay    time.Duration // from the start of a stream to its first frames
	rates    []int         // Hz, that can be opened; nil: all
	mute     atomic.Bool   // streams deliver nothing
	overflow atomic.Bool   // the next delivery is flagged
	hang     chan struct{} // when set, a stream's close waits for it

	inCall  atomic.Int32
	overlap atomic.Bool // two calls were in progress at once

	mu          sync.Mutex
	list        []Device
	initialized int
	opened      []streamParams
	running     int // streams
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

func (d *fakeDriver) setDevices(list ...Device) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.list = list
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

func (d *fakeDriver) open(p streamParams, deliver deliverFunc) (stream, error) {
	defer d.call()()
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.rates != nil && !slices.Contains(d.rates, p.rate) {
		return nil, errors.New("invalid sample rate")
	}
	d.opened = append(d.opened, p)
	d.running++
	s := &fakeStream{driver: d, params: p, stop: make(chan struct{}), stopped: make(chan struct{})}
	go s.run(deliver)
	return s, nil
}

type fakeStream struct {
	driver        *fakeDriver
	params        streamParams
	stop, stopped chan struct{}
}

// run delivers slotFrames at a time, as a device does.
func (s *fakeStream) run(deliver deliverFunc) {
	defer close(s.stopped)
	period := samplesDuration(slotFrames, s.params.rate)
	tick := time.NewTicker(period)
	defer tick.Stop()
	frames := make([]float32, slotFrames*s.params.channels)
	started := time.Now()
	for {
		select {
		case <-s.stop:
			return
		case <-tick.C:
		}
		if s.driver.mute.Load() || time.Since(started) < s.driver.delay {
			continue
		}
		end := int64(time.Since(s.driver.begin).Seconds()*float64(s.params.rate) + 0.5)
		for i := range frames {
			frames[i] = fakeSample(end-slotFrames+int64(i/s.params.channels), i%s.params.channels)
		}
		deliver(frames, s.driver.overflow.Swap(false))
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

// openFake opens a microphone of d and checks, when the test ends, that it left d as it should.
// The returned function ends the control goroutine.
func openFake(t *testing.T, d *fakeDriver, name string, o Options) (m *mic, end func()) {
	t.Helper()
	if o.Log == nil {
		o.Log = discard
	}
	ctl := newControl(d)
	m, err := newMic(t.Context(), ctl, name, o)
	if err != nil {
		t.Fatal(err)
	}
	return m, func() {
		t.Helper()
		m.Close()
		d.checkClosed(t, ctl)
	}
}

// checkClosed waits for the calls under way, ends ctl, and checks that nothing was left open and
// that calls came one at a time.
func (d *fakeDriver) checkClosed(t *testing.T, ctl *control) {
	t.Helper()
	<-ctl.submit(func() error { return nil })
	synctest.Wait() // for goroutines that may still submit
	close(ctl.calls)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.running != 0 || d.initialized != 0 {
		t.Errorf("%d streams and %d initializations left behind", d.running, d.initialized)
	}
	if d.overlap.Load() {
		t.Error("two calls to the driver at once")
	}
}
