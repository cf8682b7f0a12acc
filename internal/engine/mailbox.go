package engine

import (
	"context"
	"sync"

	"tunerd/internal/display"
)

// A mailbox hands frames from the analysis to one sink through a single slot. With latest set
// a frame that was not fetched in time is replaced, so that put never waits; otherwise put waits
// until the slot is free and nothing is lost.
type mailbox struct {
	latest bool

	mu    sync.Mutex
	full  bool
	frame display.Frame

	ready chan struct{} // holds a token while a frame is there
	space chan struct{} // holds a token while the slot is free; used if not latest
}

func newMailbox(latest bool) *mailbox {
	m := &mailbox{latest: latest, ready: make(chan struct{}, 1), space: make(chan struct{}, 1)}
	m.space <- struct{}{}
	return m
}

// put copies f into the slot.
func (m *mailbox) put(ctx context.Context, f *display.Frame) {
	if !m.latest {
		select {
		case <-m.space:
		case <-ctx.Done():
			return
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	missed := m.frame
	copyFrame(&m.frame, f)
	if m.full {
		handOn(&m.frame, &missed)
	}
	m.full = true
	select {
	case m.ready <- struct{}{}:
	default:
	}
}

// close lets take return false once the last frame is fetched. No put may follow.
func (m *mailbox) close() { close(m.ready) }

// take waits for a frame and swaps it into dst; false means that no frame will come any more.
func (m *mailbox) take(ctx context.Context, dst *display.Frame) bool {
	for {
		select {
		case _, open := <-m.ready:
			if m.fetch(dst) {
				return true
			}
			if !open {
				return false
			}
			// A put between the last token and its fetch left this one for the same frame.
		case <-ctx.Done():
			return false
		}
	}
}

// fetch empties the slot into dst, if a frame is there.
func (m *mailbox) fetch(dst *display.Frame) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.full {
		return false
	}
	m.frame, *dst = *dst, m.frame
	m.full = false
	if !m.latest {
		m.space <- struct{}{}
	}
	return true
}

// copyFrame copies src into dst and keeps the storage of dst's slices.
func copyFrame(dst, src *display.Frame) {
	bands, rows := dst.Bands[:0], dst.Strings[:0]
	*dst = *src
	dst.Bands = append(bands, src.Bands...)
	dst.Strings = append(rows, src.Strings...)
}

// handOn gives to a frame what must not be lost with the unseen frame that it replaces: that
// something happened, and the sentence about it.
func handOn(f, missed *display.Frame) {
	f.NewOnset = f.NewOnset || missed.NewOnset
	f.AfterGap = f.AfterGap || missed.AfterGap
	if f.Message == "" {
		f.Message = missed.Message
	}
	if missed.Beat.Fresh && !f.Beat.Fresh {
		f.Beat = missed.Beat
	}
}
