package coupling

import (
	"math"

	"tunerd/internal/targets"
)

// assumedSigma is that of a string that is taken to be where its instrument has it, in cents: an estimate.
const assumedSigma = 0.5

// Turns are the passes of a plan and of its undoing.
type Turns struct {
	There, Back *Pass
	Spring      Spring // from before to after
}

// Retune returns the passes between two tunings of one instrument of which so much is known: from the pitches
// nowHz to those of after, and from those of after to those of before.
func Retune(f *File, before, after *targets.Instrument, nowHz []float64) (*Turns, error) {
	was, _, err := OfInstrument(before, f.Known.Support, f.BehindMM)
	if err != nil {
		return nil, err
	}
	is, _, err := OfInstrument(after, f.Known.Support, f.BehindMM)
	if err != nil {
		return nil, err
	}
	there, back := make([]Reading, len(nowHz)), make([]Reading, len(nowHz))
	for i, now := range nowHz {
		a, b := after.Strings[i].Open.Hz, before.Strings[i].Open.Hz
		there[i] = Reading{i, 1200 * math.Log2(now/a), assumedSigma}
		back[i] = Reading{i, 1200 * math.Log2(a/b), assumedSigma}
	}
	t := &Turns{}
	if t.There, err = PassFrom(is, f.Known, there); err != nil {
		return nil, err
	}
	if t.Back, err = PassFrom(was, f.Known, back); err != nil {
		return nil, err
	}
	l, err := NewLearner(is, f.Known)
	if err != nil {
		return nil, err
	}
	t.Spring = l.SpringFor(was)
	return t, nil
}
