package engine

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/coupling"
	"tunerd/internal/display"
	"tunerd/internal/ensemble"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

const (
	standardBlock = 512  // samples a block at standardRate
	standardRate  = 48e3 // Hz
	queueBlocks   = 32   // about a third of a second between device and analysis
	endGrace      = time.Second
)

// Config is what a session needs. Source, Tracker (or Chords) and Resolver must be set; the session uses
// them alone while it runs, and does not close the source.
type Config struct {
	Source   capture.Source
	Tracker  Tracker
	Resolver Resolver
	Sinks    []Sink
	Labels   Labels

	// Greeting is said with the first frame, unless that has something to say itself.
	Greeting string
	// Crash, if not nil, is called before a panic of one of the session's goroutines ends the
	// process, so that a terminal can be put in order.
	Crash func()
	// Rows is what the bands of the strobe are compared with; empty: display.StringRows.
	Rows display.Rows
	// Bands gives the partial numbers of the strobe for a target; nil: 1, 2, 3 and 4.
	Bands func(targets.Target) []int
	// Chords, if not nil, reads all strings of the resolver at once; Tracker is not used then.
	Chords NewChords
	// Coupled, if not nil, learns how the strings pull on each other, and every frame has its advice. The
	// session uses it alone until Run has returned, or until the session is given other targets.
	Coupled NewCoupled
	// Beats, if not nil, are measured too.
	Beats *BeatWatch
	// BlockLen is how many samples are read at a time; 0: 512 at 48 kHz and in proportion.
	BlockLen int
	// Now is the clock of the latency figures; nil: time.Now.
	Now func() time.Time
}

// A Session is one live input under measurement.
type Session struct {
	cfg     Config
	queue   *queue
	framer  *framer
	boxes   []*mailbox
	aside   *aside
	delays  *latencies
	strings int // of the instrument; guarded by mu

	analyzer analyzer  // the analysis goroutine's, as is arrived
	arrived  time.Time // when the newest block came

	counts counts
	advice atomic.Pointer[coupling.Now]

	mu       sync.Mutex
	listener *Listener // nil: nobody listens beside
	pending  changes
}

// changes are what Retune, Hold, Confirm, Rows, Clear and Say ask for, until the next block comes.
type changes struct {
	hold, clear, confirm bool
	holdString           int // with hold
	rows                 display.Rows
	targets              *TargetConfig
	say                  string
}

// NewSession prepares a session; Run runs it, once.
func NewSession(cfg Config) *Session {
	rate := cfg.Source.SampleRate()
	if cfg.BlockLen == 0 {
		cfg.BlockLen = max(1, standardBlock*rate/standardRate)
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	s := &Session{cfg: cfg, delays: newLatencies(), framer: newFramer(&cfg)}
	s.strings = len(s.framer.rows)
	s.queue = newQueue(cfg.Source, cfg.BlockLen, queueBlocks, cfg.Now)
	s.aside = newAside(cfg.Source, cfg.BlockLen)
	for range cfg.Sinks {
		s.boxes = append(s.boxes, newMailbox(cfg.Source.Live()))
	}
	return s
}

// Hold keeps string n (from 1) as the target whatever sounds; 0 lets go. It may be called from
// any goroutine and takes effect with the next block.
func (s *Session) Hold(n int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n < 0 || n > s.strings {
		return fmt.Errorf("string %d does not exist: 1 to %d, or 0 to let go", n, s.strings)
	}
	s.pending.hold, s.pending.holdString = true, n
	return nil
}

// Confirm says that what sounds is the held string, though it does not seem to be, on the same terms
// as Hold.
func (s *Session) Confirm() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pending.confirm = true
}

// Rows makes the bands of the strobe compare with rows, on the same terms as Hold.
func (s *Session) Rows(rows display.Rows) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pending.rows = rows
}

// Say says a sentence to the user with the next reading. It may be called from any goroutine.
func (s *Session) Say(sentence string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pending.say = sentence
}

// Clear forgets the last readings of all strings, on the same terms as Hold.
func (s *Session) Clear() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.pending.clear = true
}

// Retune gives the session other targets, on the same terms as Hold: the input goes on, the list of
// strings is that of the new ones, and no string is held.
func (s *Session) Retune(a TargetConfig) {
	strings := len(a.Resolver.Strings())
	s.mu.Lock()
	defer s.mu.Unlock()
	s.strings = strings
	s.pending.targets, s.pending.hold = &a, false
}

// Advice returns the newest advice for strings that pull on each other; nil: none is asked for.
func (s *Session) Advice() *coupling.Now { return s.advice.Load() }

// Latency returns the delay of the newest readings.
func (s *Session) Latency() Latency { return s.delays.summary() }

// Run runs until the source ends, ctx ends, or the source or a sink fails; only failure is an
// error. At the end of the source the sinks have been shown everything.
//
// A device is never held up. From a live source each sink gets the latest frame, and misses those
// that came while it was busy; from a recording read as fast as it goes every sink gets every frame.
//
// A sink that hangs, such as a pipe that nobody reads, is left behind a second after ctx ends.
func (s *Session) Run(ctx context.Context) error {
	run, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var wg sync.WaitGroup
	launch := func(f func(context.Context) error) {
		wg.Go(func() {
			defer s.crash()
			if err := f(run); err != nil {
				stop(err)
			}
		})
	}
	launch(s.queue.run)
	launch(s.analyse)
	launch(s.aside.run)
	for i, box := range s.boxes {
		launch(func(ctx context.Context) error { return show(ctx, box, s.cfg.Sinks[i]) })
	}
	waitFor(run, &wg)
	if err := context.Cause(run); err != nil && ctx.Err() == nil {
		return err
	}
	return nil
}

// crash lets the owner of the terminal know of a panic, and lets it go on. It is to be deferred.
func (s *Session) crash() {
	if s.cfg.Crash == nil {
		return
	}
	if p := recover(); p != nil {
		s.cfg.Crash()
		panic(p)
	}
}

// waitFor waits for wg, but not longer than endGrace once ctx has ended.
func waitFor(ctx context.Context, wg *sync.WaitGroup) {
	done := make(chan struct{})
	go func() {
		wg.Wait()
		close(done)
	}()
	select {
	case <-done:
		return
	case <-ctx.Done():
	}
	select {
	case <-done:
	case <-time.After(endGrace):
	}
}

// show passes frames from box to sink until box is closed.
func show(ctx context.Context, box *mailbox, sink Sink) error {
	var frame display.Frame
	for box.take(ctx, &frame) {
		if err := sink.Show(&frame); err != nil {
			return err
		}
	}
	return nil
}

// analyse turns packets into frames until the queue is closed.
func (s *Session) analyse(ctx context.Context) error {
	defer func() {
		for _, box := range s.boxes {
			box.close()
		}
		close(s.aside.filled)
		s.framer.coupled.close()
	}()
	s.couple(s.cfg.Coupled)
	s.analyzer = s.newAnalyzer(ctx)
	s.analyzer.expect(s.cfg.Resolver)
	lost := false
	for p := range s.queue.filled {
		s.applyPending(ctx)
		switch {
		case !p.lost:
			s.arrived = p.arrived
			s.counts.blocks.Add(1)
			s.counts.samples.Add(int64(len(p.block.Samples)))
			gaps := s.framer.gaps
			s.framer.follow(p.block)
			if s.cfg.Beats != nil {
				silent := s.framer.frame.State == display.Silent
				if beat, due := s.cfg.Beats.follow(p.block, s.framer.gaps > gaps, silent); due {
					s.framer.beat = beat
				}
			}
			s.counts.gaps.Store(int64(s.framer.gaps))
			s.analyzer.push(p.block)
		case !lost:
			s.post(ctx, s.framer.notice(display.Lost, errLost(s.cfg.Source)))
		}
		lost = p.lost
		s.share(ctx, p)
		s.queue.free <- p
	}
	if ctx.Err() == nil {
		s.analyzer.flush()
		s.post(ctx, s.framer.notice(display.Ended, ""))
	}
	return nil
}

// newAnalyzer returns what the samples go through, and what comes of that is posted.
func (s *Session) newAnalyzer(ctx context.Context) analyzer {
	show := func(frame *display.Frame) {
		s.framer.coupled.hear(frame)
		frame.Arrived = s.arrived
		s.counts.readings.Add(1)
		s.delays.add(s.cfg.Now().Sub(s.arrived))
		s.post(ctx, frame)
	}
	if s.cfg.Chords == nil {
		return &noteAnalyzer{s.cfg.Tracker, func(r *pitch.Reading) { show(s.framer.reading(r)) }}
	}
	return &chordAnalyzer{
		create: s.cfg.Chords, rate: capture.TrueRate(s.cfg.Source),
		emit: func(c *ensemble.Chord) { show(s.framer.chord(c)) },
		fail: func(err error) { s.post(ctx, s.framer.notice(display.Unsure, err.Error())) },
	}
}

func errLost(src capture.Source) string {
	return fmt.Sprintf("%s: %v; waiting for it to come back", src.Name(), capture.ErrDeviceLost)
}

// post gives a frame to every sink.
func (s *Session) post(ctx context.Context, f *display.Frame) {
	for _, box := range s.boxes {
		box.put(ctx, f)
	}
}

// couple begins to learn how the strings pull on each other, or says why it cannot.
func (s *Session) couple(create NewCoupled) {
	if err := s.framer.couple(create, capture.Waits(s.cfg.Source), s.advice.Store); err != nil {
		s.Say(err.Error())
	}
}

// applyPending carries out what Retune, Hold, Confirm, Rows, Clear and Say have left.
func (s *Session) applyPending(ctx context.Context) {
	s.mu.Lock()
	todo := s.pending
	s.pending = changes{}
	s.mu.Unlock()
	if todo.targets != nil {
		s.framer.compareWith(todo.targets)
		s.couple(todo.targets.Coupled)
		s.cfg.Resolver, s.cfg.Chords = todo.targets.Resolver, todo.targets.Chords
		if todo.targets.Tracker != nil {
			s.cfg.Tracker = todo.targets.Tracker
		}
		s.analyzer = s.newAnalyzer(ctx)
		s.analyzer.expect(s.cfg.Resolver)
	}
	if todo.hold {
		s.framer.hold(todo.holdString)
		s.analyzer.expect(s.cfg.Resolver)
	}
	if todo.rows != "" {
		s.framer.strobe.rows = todo.rows
	}
	if todo.confirm {
		s.cfg.Resolver.Confirm()
	}
	if todo.clear {
		s.framer.clear()
	}
	if todo.say != "" {
		s.framer.message = todo.say
	}
}
