package bench

import (
	"context"
	"errors"
	"sync"

	"tunerd/internal/capture"
)

// PageInput names the input of a page that has said no name, or has not come yet.
const PageInput = "browser"

// ErrTakenOver ends the turn of a page when another has come.
var ErrTakenOver = errors.New("another page has taken over as the microphone")

// A Microphone is the microphone of a view as the input of a tuner. The view that comes last is the one that is heard.
type Microphone struct {
	next chan *capture.Feed // a feed that the tuner is to run on

	mu   sync.Mutex
	feed *capture.Feed // of the view that is heard, or was last
	turn *Turn         // of that view; nil when it has gone
}

// NewMicrophone returns a microphone that nobody speaks into yet.
func NewMicrophone() *Microphone { return &Microphone{next: make(chan *capture.Feed)} }

// Run runs the tuner on what views send until ctx ends. Views of the same sample rate continue one
// another's input behind a gap; another rate begins a new one.
func (m *Microphone) Run(ctx context.Context, t *Tuner) error {
	var feed *capture.Feed
	select {
	case feed = <-m.next:
	case <-ctx.Done():
		return nil
	}
	for {
		next, err := m.runOn(ctx, t, feed)
		if next == nil || err != nil {
			return err
		}
		feed = next
	}
}

// runOn runs the tuner on one feed until there is another, which it returns, or ctx ends.
func (m *Microphone) runOn(ctx context.Context, t *Tuner, feed *capture.Feed) (*capture.Feed, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- t.Run(ctx, feed) }()
	select {
	case next := <-m.next:
		stop()
		return next, <-ended
	case err := <-ended:
		return nil, err
	}
}

// A Turn is the time during which a view is the one that is heard.
type Turn struct {
	of   *Microphone
	over chan struct{}
}

// Claim makes a view the one that is heard, until another claims. name may be empty; rate is in Hz.
func (m *Microphone) Claim(ctx context.Context, name string, rate int) (*Turn, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.feed == nil || m.feed.SampleRate() != rate {
		feed, err := capture.NewFeed(inputName(name), rate)
		if err != nil {
			return nil, err
		}
		select {
		case m.next <- feed:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		m.feed = feed
	}
	if m.turn != nil {
		close(m.turn.over)
		m.feed.Break()
	}
	m.turn = &Turn{of: m, over: make(chan struct{})}
	return m.turn, nil
}

func inputName(name string) string {
	if name == "" {
		return PageInput
	}
	return PageInput + ": " + name
}

// Over is closed when another view is heard.
func (t *Turn) Over() <-chan struct{} { return t.over }

// Push hands on samples, the first of which the view counts as number start; see [capture.Feed].
func (t *Turn) Push(start int64, samples []float32) error {
	t.of.mu.Lock()
	defer t.of.mu.Unlock()
	if t.of.turn != t {
		return ErrTakenOver
	}
	return t.of.feed.Push(start, samples)
}

// End marks the input as lost, unless another view is heard by now.
func (t *Turn) End() {
	t.of.mu.Lock()
	defer t.of.mu.Unlock()
	if t.of.turn == t {
		t.of.turn = nil
		t.of.feed.Break()
	}
}
