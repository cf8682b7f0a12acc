package capture

import (
	"cmp"
	"context"
	"fmt"
	"io/fs"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

const (
	silenceLimit = time.Second     // a running device that delivers nothing for so long is lost
	firstLimit   = 3 * time.Second // a device may take so long to begin: some idle in blocks of 2 s
	retryPause   = time.Second     // between two attempts to reopen a lost device
	closeLimit   = 2 * time.Second // how long Close waits for the device
	ringSpan     = 2 * time.Second // how long a reader may be away without losing samples
)

// A mic is the Source of an input device.
//
// The device's thread pushes into the ring, Read pulls from it and watches the clock. When
// nothing has come for silenceLimit, Read says so and a goroutine closes the device, looks for
// it anew and reopens it, until that succeeds or the source is closed.
type mic struct {
	ctl  *control
	want string // the name asked for; "": the default device
	opts Options
	log  *slog.Logger

	device Device // as first opened
	rate   int    // Hz, as first opened
	ring   *ring
	pos    int64       // Read's own
	alarm  *time.Timer // Read's own

	ctx       context.Context // ends with Close
	cancel    context.CancelFunc
	reopening atomic.Bool

	// Of the control goroutine:
	up     bool // the driver is initialized
	stream stream
	// Closed by the device's thread with the first samples of the stream.
	first chan struct{}
}

func openMic(ctx context.Context, name string, o Options) (Source, error) {
	ctl, err := systemControl()
	if err != nil {
		return nil, err
	}
	return newMic(ctx, ctl, name, o)
}

func newMic(ctx context.Context, ctl *control, name string, o Options) (*mic, error) {
	m := &mic{ctl: ctl, want: name, opts: o, log: o.Log, alarm: time.NewTimer(0)}
	m.alarm.Stop()
	m.ctx, m.cancel = context.WithCancel(context.Background())
	limited, cancel := context.WithTimeout(ctx, answerLimit)
	defer cancel()
	err := ctl.do(limited, m.connect)
	if err == nil {
		err = m.awaitFirst(ctx)
	}
	if err != nil {
		m.release()
		return nil, err
	}
	return m, nil
}

// connect finds the device and starts it. It runs on the control goroutine.
func (m *mic) connect() error {
	if m.ctx.Err() != nil {
		return fs.ErrClosed
	}
	err := m.start()
	if err != nil {
		m.dropDevice()
	}
	return err
}

func (m *mic) start() error {
	if err := m.ctl.driver.initialize(); err != nil {
		return err
	}
	m.up = true
	devices, err := m.ctl.driver.devices()
	if err != nil {
		return err
	}
	device, err := chooseInput(devices, m.want)
	if err != nil {
		return err
	}
	channels, err := channelsToOpen(device, m.opts.Channel)
	if err != nil {
		return err
	}
	for _, rate := range m.rates(device) {
		err = m.openAt(streamParams{device: device, channels: channels, rate: rate})
		if err == nil {
			return nil
		}
	}
	return err
}

// channelsToOpen is how many channels of d are needed to hear channel pick, or, for 0, a mix:
// of a device with many, the first two are the instrument.
func channelsToOpen(d Device, pick int) (int, error) {
	if pick > d.MaxInput {
		return 0, fmt.Errorf("channel %d is not there; input device %q has %d", pick, d.Name, d.MaxInput)
	}
	if pick > 0 {
		return pick, nil
	}
	return min(2, d.MaxInput), nil
}

// rates are the sample rates, in Hz, to try on d, the wanted one first. A reopened device must
// take the rate it had.
func (m *mic) rates(d Device) []int {
	switch {
	case m.rate != 0:
		return []int{m.rate}
	case m.opts.SampleRate != 0:
		return []int{m.opts.SampleRate}
	}
	own := int(d.DefaultRate)
	if own == defaultSampleRate || checkSampleRate(own) != nil {
		return []int{defaultSampleRate}
	}
	return []int{defaultSampleRate, own}
}

func (m *mic) openAt(p streamParams) error {
	r := m.ring
	if r == nil {
		r = newRing(p.rate, ringSpan)
	} else {
		r.broken.Store(true)
	}
	first := make(chan struct{})
	var once sync.Once
	nch, pick := p.channels, m.opts.Channel
	s, err := m.ctl.driver.open(p, func(frames []float32, overflow bool) {
		r.push(frames, nch, pick, overflow)
		once.Do(func() { close(first) })
	})
	if err != nil {
		return fmt.Errorf("open input device %q at %d Hz: %w", p.device.Name, p.rate, err)
	}
	m.stream, m.first = s, first
	if m.ring == nil {
		m.ring, m.device, m.rate = r, p.device, p.rate
	}
	return nil
}

// disconnect stops the device. It runs on the control goroutine.
func (m *mic) disconnect() error {
	var closeErr, termErr error
	if m.stream != nil {
		closeErr = m.stream.close()
		m.stream = nil
	}
	if m.up {
		termErr = m.ctl.driver.terminate()
		m.up = false
	}
	return cmp.Or(closeErr, termErr)
}

// dropDevice stops a device of which nothing good is expected any more. It runs on the control
// goroutine.
func (m *mic) dropDevice() {
	if err := m.disconnect(); err != nil {
		m.log.Debug("close of a lost input device", "device", m.device.Name, "error", err)
	}
}

// awaitFirst waits for the first samples of a stream that was just started.
func (m *mic) awaitFirst(ctx context.Context) error {
	select {
	case <-m.first:
		return nil
	case <-time.After(firstLimit):
		return fmt.Errorf("input device %q was opened but delivers nothing", m.device.Name)
	case <-ctx.Done():
		return ctx.Err()
	case <-m.ctx.Done():
		return fs.ErrClosed
	}
}

func (m *mic) Name() string    { return m.device.Name }
func (m *mic) SampleRate() int { return m.rate }
func (m *mic) Live() bool      { return true }

func (m *mic) Read(ctx context.Context, dst []float64) (Block, error) {
	if len(dst) == 0 {
		return Block{Start: m.pos}, nil
	}
	for {
		if err := m.over(ctx); err != nil {
			return Block{}, err
		}
		if n, lost := m.ring.pull(dst); n > 0 {
			b := Block{Samples: dst[:n], Start: m.pos + lost, Lost: lost}
			m.pos += lost + int64(n)
			return b, nil
		}
		if err := m.wait(ctx); err != nil {
			return Block{}, err
		}
	}
}

// over tells whether reading is to end.
func (m *mic) over(ctx context.Context) error {
	if m.ctx.Err() != nil {
		return fmt.Errorf("capture: %s: %w", m.device.Name, fs.ErrClosed)
	}
	return ctx.Err()
}

// wait returns when there may be something to pull or a reason to stop, and ErrDeviceLost when
// the device has been silent for too long.
func (m *mic) wait(ctx context.Context) error {
	var alarm <-chan time.Time // none while the device is known to be lost
	if !m.reopening.Load() {
		m.alarm.Reset(silenceLimit - m.ring.silence())
		alarm = m.alarm.C
	}
	select {
	case <-m.ring.ready:
	case <-ctx.Done():
	case <-m.ctx.Done():
	case <-alarm:
		if m.ring.silence() >= silenceLimit {
			m.ring.broken.Store(true) // whatever still comes of it
			m.reopening.Store(true)
			go m.reopen()
			return ErrDeviceLost
		}
	}
	return nil
}

// reopen tries until the device delivers again, or the source is closed.
func (m *mic) reopen() {
	for {
		err := m.reconnect()
		if err == nil {
			m.reopening.Store(false)
			m.ring.wake() // for the watch to be set again
			return
		}
		m.log.Debug("input device is not back", "device", m.device.Name, "error", err)
		select {
		case <-m.ctx.Done():
			return
		case <-time.After(retryPause):
		}
	}
}

// reconnect closes the device and everything that the driver knew of it, and opens it anew.
func (m *mic) reconnect() error {
	done := m.ctl.submit(func() error {
		m.dropDevice()
		return m.connect()
	})
	late := time.NewTimer(answerLimit)
	defer late.Stop()
	for {
		select {
		case err := <-done:
			if err != nil {
				return err
			}
			return m.awaitFirst(m.ctx)
		case <-m.ctx.Done():
			return fs.ErrClosed
		case <-late.C:
			m.log.Warn(errNoAnswer.Error() + "; if it goes on so, end this program and start it again")
		}
	}
}

// Close waits for the device to stop, but no longer than closeLimit.
func (m *mic) Close() error {
	if m.ctx.Err() != nil {
		return nil
	}
	if err := m.release(); err != nil {
		return fmt.Errorf("capture: close input device %q: %w", m.device.Name, err)
	}
	return nil
}

func (m *mic) release() error {
	m.cancel()
	ctx, cancel := context.WithTimeout(context.Background(), closeLimit)
	defer cancel()
	return m.ctl.do(ctx, m.disconnect)
}
