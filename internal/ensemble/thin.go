package ensemble

import (
	"math"

	"gonum.org/v1/gonum/dsp/window"
)

// thinTaps is the length of the low-pass of a thinner, in samples that it gives out: under a Blackman–Harris
// window, whose half main lobe is 4 bins, that leaves what lies below a quarter of the new rate untouched and keeps
// what would fall there 92 dB down.
const thinTaps = 16

// A thinner takes samples down to a part of their rate, for what is only asked about low frequencies.
type thinner struct {
	by   int       // every by-th sample is kept
	taps []float64 // upper half of the symmetric low-pass
}

// newThinner returns the thinner to the lowest rate at which what lies below top (Hz) is untouched: a power of two
// below fs.
func newThinner(fs, top float64) thinner {
	by := 1
	for top <= fs/float64(8*by) {
		by *= 2
	}
	t := thinner{by: by}
	if by == 1 {
		return t
	}
	full := make([]float64, thinTaps*by)
	for i := range full {
		full[i] = 1
	}
	window.BlackmanHarris(full)
	half := len(full) / 2
	t.taps = full[half:]
	sum := 0.0
	for i := range t.taps {
		x := math.Pi * (float64(i) + 0.5) / float64(by)
		t.taps[i] *= math.Sin(x) / x
		sum += 2 * t.taps[i]
	}
	for i := range t.taps {
		t.taps[i] /= sum
	}
	return t
}

// thin fills dst with the thinned x; before x and after it there is silence. Sample i of dst lies in the middle of
// samples i·by to i·by + by − 1 of x.
func (t *thinner) thin(dst, x []float64) {
	if t.by == 1 {
		copy(dst, x)
		return
	}
	half := len(t.taps)
	for i := range dst {
		right := i*t.by + t.by/2
		if right < half || right+half > len(x) {
			dst[i] = t.edge(x, right)
			continue
		}
		after := x[right:][:half]
		before := x[right-half:][:half]
		var sum float64
		for j, w := range t.taps {
			sum += w * (after[j] + before[half-1-j])
		}
		dst[i] = sum
	}
}

// edge returns what the low-pass gives between samples right − 1 and right of x, near an end of it.
func (t *thinner) edge(x []float64, right int) float64 {
	var sum float64
	for j, w := range t.taps {
		if at := right + j; at < len(x) {
			sum += w * x[at]
		}
		if at := right - 1 - j; at >= 0 && at < len(x) {
			sum += w * x[at]
		}
	}
	return sum
}
