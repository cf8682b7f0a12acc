// Package mic opens input devices as sources, and with them everything that package capture opens.
package mic

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math"
	"sync"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/device"
	"tunerd/internal/fault"
)

const (
	silenceLimit = 900 * time.Millisecond // a running device that delivers nothing for so long is lost
	openLimit    = 10 * time.Second       // a device may take so long to be opened
	firstLimit   = 3 * time.Second        // and so long to begin then: some idle in blocks of 2 s
	retryPause   = time.Second            // between the beginnings of two attempts to reopen a lost device
	maxAttempts  = 3                      // under way at once, as one may hang
	closeLimit   = 2 * time.Second        // how long Close waits for the device
	micPieces    = 32                     // blocks that wait for the reader here; two seconds more wait in the device's process
)

var errNoAnswer = errors.New("the sound system does not answer")

// A recorder delivers what one device hears. *device.Recorder is one; see there.
type recorder interface {
	Open() (device.Opened, error)
	Next(*device.Block) error
	Kill()
	Close() error
	Said() string
}

// A mic is the capture.Source of an input device.
//
// A process of its own has the device, and a goroutine passes on what that sends. Read takes it
// and watches the clock. When nothing has come for silenceLimit, or the process has ended, Read
// says so, and another goroutine kills the process and starts others until one of them delivers.
// Nobody waits for a process without being able to leave.
type mic struct {
	record func(device.Input) (recorder, error)
	input  device.Input
	log    *slog.Logger

	name string
	rate int // Hz, as first opened

	free, filled chan *piece // pieces go round
	rest         *piece      // what Read has taken only a part of; nil: none
	off          int         // samples of rest that are read already
	pos          int64       // number of the sample after the last one read
	now          *take       // that the last piece came from; nil before the first
	lost         bool        // now has been given up
	heard        time.Time   // when Read took the last piece
	alarm        *time.Timer

	ctx    context.Context // ends with Close
	cancel context.CancelFunc
	mu     sync.Mutex // nothing is added to work when ctx has ended
	work   sync.WaitGroup
}

// A piece is a block on its way from a take to Read.
type piece struct {
	*device.Block
	start int64 // as capture.Block.Start, on the source's own count
	from  *take
}

// A take is a recorder at work, from its first block to its end.
type take struct {
	recorder
	base  int64     // what its sample 0 is on the source's count
	end   int64     // number of the sample after its last one, on the source's count
	last  time.Time // when the last block came
	ended chan struct{}
}

// Open opens the source that spec names: besides those of [capture.Open]
//
//	mic        the default input device
//	mic:NAME   the input device of that name, or the only one with NAME in its name
func Open(ctx context.Context, spec string, o capture.Options) (capture.Source, error) {
	name, is := capture.Microphone(spec)
	if !is {
		return capture.Open(ctx, spec, o)
	}
	if err := o.Check(spec); err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	record := func(in device.Input) (recorder, error) { return device.Record(in) }
	m, err := newMic(ctx, record, name, o)
	if err != nil {
		return nil, fault.New(fault.Device, err)
	}
	return m, nil
}

func newMic(ctx context.Context, record func(device.Input) (recorder, error), name string, o capture.Options) (*mic, error) {
	m := &mic{
		record: record, input: device.Input{Name: name, Channel: o.Channel, Rate: o.SampleRate}, log: o.Log,
		free: make(chan *piece, micPieces), filled: make(chan *piece, micPieces), alarm: time.NewTimer(0),
	}
	m.alarm.Stop()
	for range micPieces {
		m.free <- &piece{Block: newBlock()}
	}
	m.ctx, m.cancel = context.WithCancel(context.Background())
	opened, rec, first, err := m.attempt(ctx, openLimit)
	if err != nil {
		m.cancel()
		return nil, err
	}
	m.name, m.rate = opened.Name, opened.Rate
	m.input.Rate = opened.Rate // a reopened device must take the rate it had
	m.run(rec, first, first.Start)
	return m, nil
}

// attempt starts a recorder and waits for its first block, until ctx ends.
func (m *mic) attempt(ctx context.Context, limit time.Duration) (opened device.Opened, rec recorder, first *device.Block, err error) {
	if err := ctx.Err(); err != nil {
		return opened, nil, nil, err
	}
	if rec, err = m.record(m.input); err != nil {
		return opened, nil, nil, err
	}
	leave := context.AfterFunc(ctx, rec.Kill)
	first = newBlock()
	if opened, err = m.begin(rec, limit, first); err == nil && leave() {
		return opened, rec, first, nil
	}
	rec.Kill()
	_ = rec.Close() // it has been killed
	m.log.Debug("input device not opened", "error", err, "said", rec.Said())
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return opened, nil, nil, err
}

func newBlock() *device.Block {
	return &device.Block{Samples: make([]float32, 0, device.BlockLen)}
}

// begin waits for a recorder's first block.
func (m *mic) begin(rec recorder, limit time.Duration, first *device.Block) (device.Opened, error) {
	late := time.AfterFunc(limit, rec.Kill)
	opened, err := rec.Open()
	if !late.Stop() {
		return opened, errNoAnswer
	}
	if err != nil {
		return opened, err
	}
	late.Reset(firstLimit)
	err = rec.Next(first)
	if !late.Stop() {
		return opened, fmt.Errorf("input device %q was opened but delivers nothing", opened.Name)
	}
	return opened, err
}

// run has a recorder's blocks passed on, from its first one, which is number start.
func (m *mic) run(rec recorder, first *device.Block, start int64) {
	t := &take{recorder: rec, base: start - first.Start, ended: make(chan struct{})}
	started := m.do(func() {
		defer close(t.ended)
		defer rec.Close()
		defer context.AfterFunc(m.ctx, func() { _ = rec.Close() })()
		_ = m.pass(t, first) // that it has ended is all there is to know
	})
	if !started {
		_ = rec.Close()
	}
}

// pass passes on what a recorder sends, from a block that is there already.
func (m *mic) pass(t *take, first *device.Block) error {
	for b := first; ; b = nil {
		var p *piece
		select {
		case p = <-m.free:
		case <-m.ctx.Done():
			return fs.ErrClosed
		}
		if b != nil {
			p.Block = b
		} else if err := t.Next(p.Block); err != nil {
			m.free <- p
			return err
		}
		p.from, p.start = t, t.base+p.Start
		t.end, t.last = p.start+int64(len(p.Samples)), time.Now()
		m.filled <- p // there is room for all pieces
	}
}

// do has f done on another goroutine, unless the source is closed.
func (m *mic) do(f func()) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	open := m.ctx.Err() == nil
	if open {
		m.work.Go(f)
	}
	return open
}

func (m *mic) Name() string    { return m.name }
func (m *mic) SampleRate() int { return m.rate }
func (m *mic) Live() bool      { return true }

func (m *mic) Read(ctx context.Context, dst []float64) (capture.Block, error) {
	if len(dst) == 0 {
		return capture.Block{Start: m.pos}, nil
	}
	for {
		if err := m.over(ctx); err != nil {
			return capture.Block{}, err
		}
		if n, lost := m.pull(dst); n > 0 {
			b := capture.Block{Samples: dst[:n], Start: m.pos + lost, Lost: lost}
			m.pos += lost + int64(n)
			return b, nil
		}
		if err := m.wait(ctx); err != nil {
			return capture.Block{}, err
		}
	}
}

// over tells whether reading is to end.
func (m *mic) over(ctx context.Context) error {
	if m.ctx.Err() != nil {
		return fmt.Errorf("%s: %w", m.name, fs.ErrClosed)
	}
	return ctx.Err()
}

// pull moves samples to the front of dst, up to the next loss or the last one there is, and
// returns how many it moved, and how many were lost before them.
func (m *mic) pull(dst []float64) (n int, lost int64) {
	for n < len(dst) {
		if m.rest == nil {
			select {
			case p := <-m.filled:
				m.take(p)
			default:
				return n, lost
			}
		}
		if gap := m.rest.start + int64(m.off) - m.pos - int64(n); gap > 0 {
			if n > 0 {
				return n, 0
			}
			lost = gap
		}
		k := min(len(dst)-n, len(m.rest.Samples)-m.off)
		for i, v := range m.rest.Samples[m.off : m.off+k] {
			dst[n+i] = float64(v)
		}
		n += k
		m.off += k
		if m.off == len(m.rest.Samples) {
			m.free <- m.rest
			m.rest = nil
		}
	}
	return n, lost
}

// take has Read go on with p.
func (m *mic) take(p *piece) {
	m.rest, m.off, m.heard = p, 0, time.Now()
	if p.from != m.now {
		m.now, m.lost = p.from, false
	}
}

// wait returns when there may be something to pull or a reason to stop, and capture.ErrDeviceLost when
// the device has been silent for too long.
func (m *mic) wait(ctx context.Context) error {
	var alarm <-chan time.Time // none while the device is known to be lost
	var ended chan struct{}
	if m.now != nil && !m.lost {
		m.alarm.Reset(silenceLimit - time.Since(m.heard))
		defer m.alarm.Stop()
		alarm, ended = m.alarm.C, m.now.ended
	}
	select {
	case p := <-m.filled:
		m.take(p)
		return nil
	case <-ctx.Done():
		return nil
	case <-m.ctx.Done():
		return nil
	case <-alarm:
	case <-ended:
		if len(m.filled) > 0 { // it ended after that
			return nil
		}
	}
	m.lost = true
	old := m.now
	m.do(func() { m.reopen(old) })
	return capture.ErrDeviceLost
}

// reopen replaces a recorder by one that delivers, unless the source is closed before.
func (m *mic) reopen(old *take) {
	old.Kill()
	<-old.ended // nothing of it comes any more
	m.log.Info("input device lost", "device", m.name, "said", old.Said())
	ctx, cancel := context.WithCancel(m.ctx)
	defer cancel() // those that come too late
	type result struct {
		recorder
		first *device.Block
	}
	found := make(chan result)
	under := make(chan struct{}, maxAttempts) // holds a token for each attempt under way
	try := func() {
		defer func() { <-under }()
		_, rec, first, err := m.attempt(ctx, firstLimit)
		if err != nil {
			return
		}
		select {
		case found <- result{rec, first}:
		case <-ctx.Done(): // another was earlier
			_ = rec.Close()
		}
	}
	next := time.NewTicker(retryPause)
	defer next.Stop()
	for {
		select {
		case under <- struct{}{}:
			m.do(try)
		default:
		}
		select {
		case r := <-found:
			m.run(r.recorder, r.first, old.end+m.missed(old, r.first))
			return
		case <-next.C:
		case <-ctx.Done():
			return
		}
	}
}

// missed is how many samples a device has not delivered since the end of a recorder's, by the
// clock: the time until the first block of the next one, less that block. It is off by as much
// as the device's buffer wavers, some hundreds of samples, and at least 1.
func (m *mic) missed(old *take, first *device.Block) int64 {
	away := time.Since(old.last).Seconds() * float64(m.rate)
	return max(1, int64(math.Round(away))-int64(len(first.Samples)))
}

// Close waits for the device to stop, but no longer than closeLimit.
func (m *mic) Close() error {
	if m.ctx.Err() != nil {
		return nil
	}
	m.mu.Lock()
	m.cancel()
	m.mu.Unlock()
	done := make(chan struct{})
	go func() {
		m.work.Wait()
		close(done)
	}()
	select {
	case <-done:
		return nil
	case <-time.After(closeLimit):
		return fault.Errorf(fault.Device, "close input device %q: %w", m.name, errNoAnswer)
	}
}
