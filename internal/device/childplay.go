package device

import (
	"fmt"
	"sync/atomic"
)

// playAhead is how much sound, in seconds, waits in the child for the device: at the start the
// device takes all of its latency (playLatency) at once, and the rest is what a busy parent may be
// late by without tearing holes into the sound.
const playAhead = 0.4

// play plays what the parent sends, until it wants no more; what has come is played then.
func (s *servant) play(devices []Device, req request) error {
	d, err := output.choose(devices, req.Name)
	if err != nil {
		return err
	}
	f, err := s.outputFormat(d, req.Rate)
	if err != nil {
		return err
	}
	if err := s.wire.sendJSON(kindOpened, Opened{d.Name, f.rate}); err != nil {
		return err
	}
	p := newPlayback(f)
	if err := s.wire.sendAsk(p.wanted()); err != nil {
		return err
	}
	select { // the device runs from the first sound on
	case first := <-s.sound:
		p.add(first)
	case <-s.gone:
		return nil
	}
	running, err := s.driver.openOutput(d, f, p.fill)
	if err != nil {
		return err
	}
	for {
		select {
		case <-p.taken:
			if n := p.wanted(); n > 0 {
				if err := s.wire.sendAsk(n); err != nil {
					return err
				}
			}
		case more := <-s.sound:
			p.add(more)
		case <-s.gone:
			return running.close()
		}
	}
}

// outputFormat is the format at the wanted rate, or at the device's own if it does not take that.
func (s *servant) outputFormat(d Device, wanted int) (format, error) {
	var err error
	for _, rate := range []int{wanted, int(d.DefaultRate)} {
		f := format{min(2, d.MaxOutput), rate}
		if err = s.driver.checkOutput(d, f); err == nil {
			return f, nil
		}
	}
	return format{}, fmt.Errorf("%s takes neither %d nor %g samples a second: %w", d.Name, wanted, d.DefaultRate, err)
}

// A playback hands samples to the device's thread, which hears silence where there are none.
type playback struct {
	format
	room  []float32     // a ring of samples
	put   atomic.Int64  // samples put into it so far; add's own to change
	got   atomic.Int64  // samples taken from it so far; fill's own to change
	asked int64         // of the parent so far
	taken chan struct{} // holds a token when fill has taken some
}

func newPlayback(f format) *playback {
	ahead := int(playAhead * float64(f.rate))
	return &playback{format: f, room: make([]float32, ahead), taken: make(chan struct{}, 1)}
}

// add puts samples into the room that was asked for; what exceeds it is dropped.
func (p *playback) add(samples []float32) {
	put := p.put.Load()
	free := int64(len(p.room)) - (put - p.got.Load())
	for _, x := range samples[:min(int64(len(samples)), free)] {
		p.room[put%int64(len(p.room))] = x
		put++
	}
	p.put.Store(put)
}

// fill writes the next frames, all channels alike.
func (p *playback) fill(frames []float32) {
	got, put := p.got.Load(), p.put.Load()
	for i := 0; i+p.channels <= len(frames); i += p.channels {
		x := float32(0)
		if got < put {
			x = p.room[got%int64(len(p.room))]
			got++
		}
		for c := range p.channels {
			frames[i+c] = x
		}
	}
	p.got.Store(got)
	select {
	case p.taken <- struct{}{}:
	default:
	}
}

// wanted is how many more samples there is room for than were asked for so far.
func (p *playback) wanted() int64 {
	n := p.got.Load() + int64(len(p.room)) - p.asked
	p.asked += n
	return n
}
