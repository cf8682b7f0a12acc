package device

import (
	"errors"
	"fmt"
	"sync"

	"tunerd/internal/sampling"
)

// A Player is a child that plays one sound.
type Player struct {
	p       *process
	opened  Opened
	started sync.Once
	feed    sync.WaitGroup
}

// Play starts a child that plays on the output device whose name is, or contains, name; "" is the
// default one. The sample rate is wanted, or the device's own if it does not take that.
func Play(name string, wanted int) (*Player, error) {
	p, err := begin(request{Job: jobPlay, Name: name, Rate: wanted})
	if err != nil {
		return nil, err
	}
	player := &Player{p: p}
	err = p.within(answerLimit, func() (err error) {
		player.opened, err = p.open()
		return err
	})
	if err != nil {
		_ = p.end(0) // the reason is known
		return nil, err
	}
	return player, nil
}

// Name is that of the device.
func (p *Player) Name() string { return p.opened.Name }

// SampleRate is that at which the device takes samples, in Hz.
func (p *Player) SampleRate() int { return p.opened.Rate }

// Start plays what fill gives, until Close. fill is called on another goroutine whenever the
// device wants more.
func (p *Player) Start(fill func(samples []float32)) error {
	err := errors.New("this player has played already")
	p.started.Do(func() {
		err = nil
		p.feed.Go(func() { _ = p.answerAll(fill) }) // when the child is gone, nothing is asked for
	})
	return err
}

// answerAll sends as many samples as the child asks for, until it ends.
func (p *Player) answerAll(fill func(samples []float32)) error {
	var room []float32
	for {
		body, err := p.p.answer(kindAsk)
		if err != nil {
			return err
		}
		n, err := parseAsk(body)
		if err != nil {
			return err
		}
		if n < 1 || n > sampling.MaxRate { // never more than it keeps
			return fmt.Errorf("the sound process asks for %d samples", n)
		}
		if int64(cap(room)) < n {
			room = make([]float32, n)
		}
		room = room[:n]
		fill(room)
		if err := p.p.wire.sendSound(room); err != nil {
			return err
		}
	}
}

// Close has the child play what the device has got and end, and kills it when it does not, which
// is an error. fill is not called any more.
func (p *Player) Close() error {
	defer p.feed.Wait()
	return p.p.end(endLimit)
}
