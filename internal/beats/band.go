package beats

import (
	"math"
	"math/cmplx"
)

// A band is a stretch of the spectrum around one frequency, brought down to 0 Hz: complex samples
// at a low rate, one each hop of the input.
type band struct {
	hz       float64 // centre
	taps     []complex128
	turns    float64 // of the centre frequency in one hop
	sampleHz float64 // sample rate of the input
	out      []complex128
}

// newBand returns the band around hz that lets nothing through from reach Hz off its centre on:
// a four-term Blackman-Harris window, whose spectrum is below −92 dB from its first zero on, at
// four over its length.
//
// Source: F. J. Harris, On the use of windows for harmonic analysis, Proc. IEEE 66 (1978) 51, table
// 1, minimum four-term window.
func newBand(hz, reach, sampleHz float64, hop int) *band {
	b := &band{hz: hz, sampleHz: sampleHz, turns: hz * float64(hop) / sampleHz}
	b.taps = make([]complex128, int(math.Ceil(4/reach*sampleHz)))
	sum := 0.0
	for i := range b.taps {
		u := 2 * math.Pi * (float64(i) + 0.5) / float64(len(b.taps))
		w := 0.35875 - 0.48829*math.Cos(u) + 0.14128*math.Cos(2*u) - 0.01168*math.Cos(3*u)
		sum += w
		b.taps[i] = cmplx.Rect(w, -2*math.Pi*hz*(float64(i-len(b.taps)/2))/sampleHz)
	}
	for i := range b.taps {
		b.taps[i] *= complex(2/sum, 0)
	}
	return b
}

// take computes output n of the band, of x whose last sample is the newest. All bands of a meter
// have their windows centred at the same sample.
func (b *band) take(x []float64, longest int, n int) {
	skip := (longest - len(b.taps)) / 2
	x = x[len(x)-longest+skip:]
	var sum complex128
	for i, t := range b.taps {
		sum += t * complex(x[i], 0)
	}
	_, turns := math.Modf(b.turns * float64(n))
	b.out = append(b.out, sum*cmplx.Rect(1, -2*math.Pi*turns))
}

// width is how far from its centre the band passes sound at least at half its amplitude, in Hz.
func (b *band) width() float64 { return 1.3 / float64(len(b.taps)) * b.sampleHz }
