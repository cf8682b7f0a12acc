// Package term is the strobe in the terminal: it draws display.Frame values as bands of stripes,
// a large note name and figures, and turns keys into orders for the tuner.
//
// Start with [Usable], which says whether there is a terminal at all, and [New]. A [Screen] is
// given frames with [Screen.Show], from any goroutine, while [Screen.Run] draws them. A pattern
// is drawn at the measured phase of its partial, carried on by the measured drift from the
// arrival of the frame to the moment of drawing, never from the cents figure. It moves right
// when the note is sharp, left when it is flat, and stands still in tune. Everything said by
// colour is also said in words or by movement.
//
// What a drawing looks like is a pure function of the frames, the time, the size of the window
// and its number of colours; only term.go and model.go know of a terminal.
package term

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"sync"
	"syscall"
	"time"

	tea "charm.land/bubbletea/v2"
	xterm "golang.org/x/term"

	"tunerd/internal/display"
)

// ErrClosed is returned by Show once the screen has been left.
var ErrClosed = errors.New("the terminal screen has been closed")

// A message that came with a single frame stays for messageTime, a long one for as long as it takes to read.
const (
	messageTime = 5 * time.Second
	readingTime = 70 * time.Millisecond // a character; about 150 words a minute
)

// Options says how a screen behaves.
type Options struct {
	// Act is called with what the user asks of the tuner. It is called on the goroutine that
	// draws, so it returns quickly. It may be nil.
	Act func(Action)
	// Restorer is the command, with its arguments, of a process that calls the function Restore: it restores
	// the terminal should the program crash. Empty: nobody does then.
	Restorer []string
	// QuitAtEnd leaves the screen when the input has ended, instead of waiting for the user.
	QuitAtEnd bool
}

// Usable reports whether standard input and output are a terminal that can be drawn on.
func Usable() bool {
	return xterm.IsTerminal(int(os.Stdin.Fd())) && xterm.IsTerminal(int(os.Stdout.Fd())) &&
		os.Getenv("TERM") != "dumb"
}

// A Screen shows frames on the terminal.
type Screen struct {
	options Options
	clock   func() time.Time
	die     func(os.Signal) // ends the process

	mu           sync.Mutex
	frame, last  display.Frame
	heard, ended bool
	beat         display.Beat // the newest that was measured
	closed       bool
	arrived      time.Time // when frame came
	message      string
	messageUntil time.Time
	rang         bool // the message is of a sound that rings

	program *tea.Program // nil unless running
}

// New returns a screen that is drawn once Run is called.
func New(o Options) *Screen { return &Screen{options: o, clock: time.Now, die: dieOf} }

// Show takes over a copy of f as the newest frame; f and its slices belong to the caller again
// when it returns. A frame whose state is display.Ended is the last one. Show never waits for
// the terminal, and returns ErrClosed once the screen has been left.
func (s *Screen) Show(f *display.Frame) error {
	now := s.clock()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	copyFrame(&s.frame, f)
	compareWithNow(&s.frame)
	s.arrived = now
	if f.State == display.Sounding {
		copyFrame(&s.last, &s.frame)
		s.heard = true
	}
	if f.Beat.Lower != "" {
		s.beat = f.Beat
	}
	s.ended = s.ended || f.State == display.Ended
	s.note(f, now)
	return nil
}

// note keeps what a frame tells the user for long enough to be read.
func (s *Screen) note(f *display.Frame, now time.Time) {
	switch {
	case f.Message != "":
		s.message, s.rang = f.Message, f.Rings
	case f.AfterGap:
		s.message, s.rang = fmt.Sprintf("a gap in the input; %d so far", f.Gaps), false
	case s.rang && f.State == display.Sounding: // what rang has given way to a note
		s.messageUntil, s.rang = time.Time{}, false
		return
	default:
		return
	}
	s.messageUntil = now.Add(max(messageTime, time.Duration(len(s.message))*readingTime))
}

// End says that no frame will come any more.
func (s *Screen) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = true
}

// forget drops the last reading.
func (s *Screen) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.heard = false
}

// snapshot copies what is to be drawn at the time now into dst.
func (s *Screen) snapshot(dst *scene, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	copyFrame(&dst.frame, &s.frame)
	copyFrame(&dst.last, &s.last)
	dst.heard, dst.ended, dst.beat = s.heard, s.ended, s.beat
	dst.elapsed = 0
	if !s.arrived.IsZero() {
		dst.elapsed = now.Sub(s.arrived).Seconds()
	}
	dst.message = ""
	if now.Before(s.messageUntil) {
		dst.message = s.message
	}
}

// copyFrame copies src into dst and keeps the storage of dst's slices.
func copyFrame(dst, src *display.Frame) {
	bands, rows := dst.Bands[:0], dst.Strings[:0]
	*dst = *src
	dst.Bands = append(bands, src.Bands...)
	dst.Strings = append(rows, src.Strings...)
}

// Run draws until the user quits, ctx is cancelled, the process is asked to end by a signal, or
// the input has ended and Options.QuitAtEnd is set; all of these return nil. The terminal is
// left as it was, also after a panic in the drawing or in Options.Act, which is returned as an
// error, and before SIGQUIT or SIGABRT end the process as they usually do. A panic on another
// goroutine ends the process before Run can clean up; a deferred function there that calls Close, or
// Options.Restorer, restores the terminal.
func (s *Screen) Run(ctx context.Context) error {
	if len(s.options.Restorer) > 0 {
		g, err := startRestorer(s.options.Restorer)
		if err != nil {
			return fmt.Errorf("terminal screen: %w", err)
		}
		defer g.dismiss()
	}
	return s.run(ctx, nil, nil)
}

// run is Run on other files than the standard ones, for tests; nil is the standard one.
func (s *Screen) run(ctx context.Context, in io.Reader, out io.Writer) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP) // a terminal that has gone, too
	defer stop()
	// The renderer looks for a new drawing at twice the rate at which they are made, so that each
	// appears equally soon.
	opts := []tea.ProgramOption{tea.WithoutSignalHandler(), tea.WithFPS(2 * framesPerSecond)}
	if in != nil {
		opts = append(opts, tea.WithInput(in))
	}
	if out != nil {
		opts = append(opts, tea.WithOutput(out), tea.WithWindowSize(80, 24))
	}
	program := tea.NewProgram(newModel(s), opts...)
	s.mu.Lock()
	s.program = program
	s.mu.Unlock()

	done := make(chan struct{})
	fatal := make(chan os.Signal, 1)
	signal.Notify(fatal, fatalSignals...)
	defer signal.Stop(fatal)
	go func() {
		select {
		case sig := <-fatal:
			s.Close()
			s.die(sig)
		case <-done:
		}
	}()
	var clock sync.WaitGroup
	clock.Go(func() { tick(ctx, program, done) })
	_, err := program.Run()
	close(done)
	clock.Wait()
	s.mu.Lock()
	s.closed, s.program = true, nil
	s.mu.Unlock()
	if err != nil {
		return fmt.Errorf("terminal screen: %w", err)
	}
	return nil
}

// Close leaves the screen and restores the terminal at once. It may be called from any
// goroutine, also while it panics.
func (s *Screen) Close() {
	s.mu.Lock()
	program := s.program
	s.closed = true
	s.mu.Unlock()
	if program != nil {
		program.Kill()
	}
}

// tick asks for a drawing at the frame rate until done is closed; when ctx ends it asks the
// program to quit.
func tick(ctx context.Context, program *tea.Program, done <-chan struct{}) {
	clock := time.NewTicker(frameTime)
	defer clock.Stop()
	for {
		select {
		case now := <-clock.C:
			program.Send(tickMsg(now))
		case <-ctx.Done():
			program.Quit()
			return
		case <-done:
			return
		}
	}
}
