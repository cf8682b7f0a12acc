package engine

import (
	"context"
	"errors"
	"io"
	"time"

	"tunerd/internal/capture"
)

// A packet is what one Read of the source gave.
type packet struct {
	room    []float64 // storage that the block is read into
	block   capture.Block
	arrived time.Time // when Read came back
	lost    bool      // no block: the device has stopped delivering
}

// A queue takes blocks from a source as they come and holds a bounded number of them for the
// analysis. Packets go round between two channels, so that running allocates nothing.
type queue struct {
	source  capture.Source
	now     func() time.Time
	free    chan *packet
	filled  chan *packet
	scratch *packet // read into, and dropped, while the queue of a device is full
}

func newQueue(source capture.Source, blockLen, blocks int, now func() time.Time) *queue {
	q := &queue{
		source:  source,
		now:     now,
		free:    make(chan *packet, blocks),
		filled:  make(chan *packet, blocks),
		scratch: &packet{room: make([]float64, blockLen)},
	}
	for range blocks {
		q.free <- &packet{room: make([]float64, blockLen)}
	}
	return q
}

// run reads until the source ends, then closes filled. Only an error that is neither the end of
// the input, nor a lost device, nor the end of ctx is returned.
//
// From a device it goes on reading while the analysis is behind, so that the device is never held
// up; what then finds no room is dropped, and shows to the analysis as a jump of the sample index.
// A source that waits for its reader, such as a recording played in real time, is left to wait.
func (q *queue) run(ctx context.Context) error {
	defer close(q.filled)
	for {
		p := q.room(ctx)
		if p == nil {
			return nil
		}
		err := q.read(ctx, p)
		switch {
		case ctx.Err() != nil, errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		q.pass(ctx, p)
	}
}

// pass hands p to the analysis. What was read for want of room is dropped, but not the news of a
// lost device: it waits for room, as no sample can come meanwhile.
func (q *queue) pass(ctx context.Context, p *packet) {
	if p != q.scratch {
		q.filled <- p
		return
	}
	if !p.lost {
		return
	}
	select {
	case free := <-q.free:
		free.block, free.arrived, free.lost = capture.Block{}, p.arrived, true
		q.filled <- free
	case <-ctx.Done():
	}
}

// read fills p from the source. A lost device is told by the packet, not by an error.
func (q *queue) read(ctx context.Context, p *packet) error {
	block, err := q.source.Read(ctx, p.room)
	p.block, p.arrived, p.lost = block, q.now(), errors.Is(err, capture.ErrDeviceLost)
	if p.lost {
		return nil
	}
	return err
}

// room returns a packet to read into, or nil when ctx has ended.
func (q *queue) room(ctx context.Context) *packet {
	if !capture.Waits(q.source) {
		select {
		case p := <-q.free:
			return p
		default:
			return q.scratch
		}
	}
	select {
	case p := <-q.free:
		return p
	case <-ctx.Done():
		return nil
	}
}
