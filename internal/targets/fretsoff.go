package targets

import "math"

// FretsOff returns the most that a fretted note is off the nearest note of the instrument's tuning, in cents, NaN
// without frets: frets that were laid for one tuning do not play another. Moves of a plan do not count.
func (in *Instrument) FretsOff() float64 {
	most := math.NaN()
	for i := range in.Strings {
		s := &in.Strings[i]
		open := s.Open.Hz * math.Exp2(-s.DetuneCents/1200)
		for _, f := range s.Frets {
			hz := open * math.Exp2(f.Cents/1200)
			off := math.Abs(1200 * math.Log2(hz/in.Tuning.Note(in.Tuning.Nearest(hz)).Hz))
			if !(off <= most) {
				most = off
			}
		}
	}
	return most
}
