package simulate

import (
	"math"
	"math/rand/v2"

	"tunerd/internal/coupling"
)

// A Hand turns pegs and hears strings.
type Hand struct {
	PegSigma float64 // cents, of where a peg is left
	Slip     float64 // part of the moves after which the peg slips back; half of them are heard at once
	Sigma    float64 // cents, of what is heard
	rng      *rand.Rand
	in       *Instrument
	moves    int
	highest  float64 // cents that any string was at, ever
}

// slipCents is how far a peg slips back.
const slipCents = 3

func (h *Hand) hear(i int) coupling.Reading {
	return coupling.Reading{String: i, Cents: h.in.cents[i] + h.Sigma*h.rng.NormFloat64(), SigmaCents: h.Sigma}
}

func (h *Hand) hearAll() []coupling.Reading {
	all := make([]coupling.Reading, h.in.n)
	for i := range all {
		all[i] = h.hear(i)
	}
	return all
}

// turn turns a string until it seems to read so, and returns what it reads.
func (h *Hand) turn(i int, cents float64) coupling.Reading {
	h.in.Turn(i, cents+h.PegSigma*h.rng.NormFloat64()+h.Sigma*h.rng.NormFloat64())
	for _, c := range h.in.cents {
		h.highest = max(h.highest, c)
	}
	h.moves++
	slips, seen := h.rng.Float64() < h.Slip, h.rng.Float64() < 0.5
	back := func() { h.in.Turn(i, h.in.cents[i]-slipCents) }
	if slips && seen {
		back()
	}
	z := h.hear(i)
	if slips && !seen {
		back()
	}
	h.in.Wait()
	return z
}

// tooMany moves a string: an instrument that needs more does not settle.
const tooMany = 60

// roundAndRound tunes string after string to its target until all read in tune, and tells whether that was
// reached.
func (h *Hand) roundAndRound() bool {
	clean := 0
	for i := 0; clean < h.in.n && h.moves < tooMany*h.in.n; i = (i + 1) % h.in.n {
		if math.Abs(h.hear(i).Cents) <= coupling.InTuneCents {
			clean++
			continue
		}
		clean = 0
		for range 3 { // again while it is heard to miss
			if math.Abs(h.turn(i, 0).Cents) <= coupling.InTuneCents {
				break
			}
		}
	}
	return clean >= h.in.n
}

// A Session is what an obedient hand made of the advice.
type Session struct {
	Moves   int
	InTune  bool    // all strings read so in the end
	Highest float64 // cents that any string was at, ever
	// After the first pass, each string: truth, what was believed before the strings were heard, and what was
	// forecast before the pass.
	Truth, Believed, BelievedSigma, Forecast, ForecastSigma []float64
}

// obey tunes as advised. strum: all strings are heard after every move, else the one in hand before and after.
func (h *Hand) obey(l *coupling.Learner, strum bool) (*Session, error) {
	if err := l.Heard(h.hearAll()...); err != nil {
		return nil, err
	}
	a := coupling.NewAdviser(l)
	s := &Session{}
	if steps := a.Forecast(h.PegSigma, h.Sigma); len(steps) > 0 {
		s.Forecast, s.ForecastSigma = steps[len(steps)-1].Cents, steps[len(steps)-1].SigmaCents
	} else {
		s.Forecast, s.ForecastSigma = l.Cents()
	}
	for h.moves < tooMany*h.in.n {
		next, ok := a.Next()
		if !ok {
			if s.Truth == nil {
				s.Truth = append(s.Truth, h.in.cents...)
				s.Believed, s.BelievedSigma = l.Cents()
			}
			var err error
			if s.InTune, err = a.Check(h.hearAll()); err != nil {
				return nil, err
			}
			if s.InTune {
				break
			}
			continue
		}
		if !strum {
			if err := l.Heard(h.hear(next.String)); err != nil {
				return nil, err
			}
			next = a.For(next.String)
		}
		z := h.turn(next.String, next.NowCents)
		var after []coupling.Reading
		if strum {
			after = h.hearAll()
		}
		if err := a.Done(next, z, after...); err != nil {
			return nil, err
		}
	}
	s.Moves, s.Highest = h.moves, h.highest
	return s, nil
}
