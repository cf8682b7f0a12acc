package device

import (
	"fmt"
	"time"

	"tunerd/internal/sampling"
)

// ringSpan is how long the parent may be away without losing samples.
const ringSpan = 2 * time.Second

// record sends what a device delivers, until the parent wants no more.
func (s *servant) record(devices []Device, req request) error {
	d, err := input.choose(devices, req.Name)
	if err != nil {
		return err
	}
	channels, err := channelsToOpen(d, req.Channel)
	if err != nil {
		return err
	}
	ring, stream, err := s.openInput(d, channels, req)
	if err != nil {
		return err
	}
	if err := s.wire.sendJSON(kindOpened, Opened{d.Name, int(ring.rate)}); err != nil {
		return err
	}
	b := &Block{Samples: make([]float32, 0, BlockLen)}
	for {
		select {
		case <-ring.ready:
		case <-s.gone:
			return stream.close()
		}
		for ring.pull(b) {
			if err := s.wire.sendBlock(b); err != nil {
				return err
			}
		}
	}
}

// openInput starts the device at the first of the rates that it takes.
func (s *servant) openInput(d Device, channels int, req request) (r *ring, _ stream, err error) {
	for _, rate := range ratesToTry(d, req.Rate) {
		r = newRing(rate, ringSpan)
		var running stream
		running, err = s.driver.openInput(d, format{channels, rate}, func(frames []float32, overflow bool) {
			r.push(frames, channels, req.Channel, overflow)
		})
		if err == nil {
			return r, running, nil
		}
		err = fmt.Errorf("open input device %q at %d Hz: %w", d.Name, rate, err)
	}
	return nil, nil, err
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

// ratesToTry are the sample rates, in Hz, to try on d: the wanted one alone, or for 0 the usual
// one, then the device's own.
func ratesToTry(d Device, wanted int) []int {
	own := int(d.DefaultRate)
	switch {
	case wanted != 0:
		return []int{wanted}
	case own == sampling.DefaultRate || own < sampling.MinRate || own > sampling.MaxRate:
		return []int{sampling.DefaultRate}
	}
	return []int{sampling.DefaultRate, own}
}
