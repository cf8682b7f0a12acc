package engine

import (
	"context"

	"tunerd/internal/capture"
)

// asideBlocks are about two thirds of a second between a session and a Listener beside it.
const asideBlocks = 64

// An aside passes on what a session hears to a Listener, in a goroutine of its own, since reading the window of a
// pluck takes longer than a block. Packets go round between two channels.
type aside struct {
	source capture.Source
	free   chan *sharedPacket
	filled chan *sharedPacket
}

// A sharedPacket is a copy of a packet on its way to a listener.
type sharedPacket struct {
	packet
	to *Listener
}

func newAside(source capture.Source, blockLen int) *aside {
	a := &aside{source: source, free: make(chan *sharedPacket, asideBlocks), filled: make(chan *sharedPacket, asideBlocks)}
	for range asideBlocks {
		a.free <- &sharedPacket{packet: packet{room: make([]float64, blockLen)}}
	}
	return a
}

// pass hands a copy of p to a listener. As in a queue, what finds no room is dropped and shows as a jump of the
// sample index, but not the news of a lost device; a source that waits for its reader is left to wait.
func (a *aside) pass(ctx context.Context, p *packet, to *Listener) {
	var shared *sharedPacket
	if capture.Waits(a.source) || p.lost {
		select {
		case shared = <-a.free:
		case <-ctx.Done():
			return
		}
	} else {
		select {
		case shared = <-a.free:
		default:
			return
		}
	}
	shared.to, shared.lost, shared.block = to, p.lost, p.block
	shared.block.Samples = shared.room[:copy(shared.room, p.block.Samples)]
	a.filled <- shared
}

// run has the listeners hear what is passed on, until that is closed.
func (a *aside) run(ctx context.Context) error {
	var last *Listener
	for p := range a.filled {
		last = p.to
		last.hear(&p.packet, a.source)
		a.free <- p
	}
	if last != nil && ctx.Err() == nil {
		last.giveUp()
	}
	return nil
}

// Listen has a listener hear the session's input, too, from the next block on, and tell what it hears from a
// goroutine of the session; the one before it hears no more. nil: nobody listens. It may be called from any
// goroutine, before Run and while it runs.
func (s *Session) Listen(l *Listener, tell func(Heard)) {
	if l != nil {
		l.told = tell
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.listener = l
}

// share passes a packet on to who listens.
func (s *Session) share(ctx context.Context, p *packet) {
	s.mu.Lock()
	to := s.listener
	s.mu.Unlock()
	if to != nil {
		s.aside.pass(ctx, p, to)
	}
}
