package sound

import (
	"fmt"
	"math"
	"math/cmplx"
)

// A Drive is a soft clipper: x becomes tanh(g·x + Bias) − tanh(Bias) with g = 10^(GainDB/20),
// after which what does not vary is taken away, as a coupling capacitor does.
//
// With Bias 0 the curve is odd and gives combination tones of odd order only, 2·f1 − f2 among
// them; f2 − f1 needs the asymmetry that real stages have.
type Drive struct {
	GainDB float64 // 0 to 30
	Bias   float64 // 0 to 1
}

// DefaultBias is a moderate asymmetry (our own figure).
const DefaultBias = 0.3

// MaxDriveDB is the highest GainDB.
const MaxDriveDB = 30

const (
	// The band in which sound goes through the clipper untouched by the filters, as a part of the
	// sample rate; above it the filters fall, and at half the sample rate they are down by filterDB.
	passBand = 5.0 / 12
	filterDB = 100.0
	// aliasDB bounds what folds back from beyond the oversampled band, re a peak of 1.
	aliasDB = -80.0
	// driveBlock is how many samples are driven at a time, to bound the memory of oversampling.
	driveBlock = 4096
	// couplingHz is the corner of the high-pass after the curve.
	couplingHz = 5
)

func (d Drive) check() error {
	switch {
	case !(d.GainDB >= 0 && d.GainDB <= MaxDriveDB):
		return fmt.Errorf("drive of %g dB is not within 0 to %d", d.GainDB, MaxDriveDB)
	case !(d.Bias >= 0 && d.Bias <= 1):
		return fmt.Errorf("drive bias %g is not within 0 to 1", d.Bias)
	}
	return nil
}

func (d Drive) gain() float64 { return math.Pow(10, d.GainDB/20) }

func (d Drive) curve(x float64) float64 { return math.Tanh(d.gain()*x+d.Bias) - math.Tanh(d.Bias) }

// Oversampling returns the factor, a power of two, by which the sound is oversampled while it is
// bent.
//
// On [−1, 1] the curve is a polynomial of degree n to within 2·M·r^n/(1−r), where M bounds it and
// r = 1/|z + √(z²−1)| belongs to its nearest pole z = (−Bias + iπ/2)/g (Bernstein's theorem; L. N.
// Trefethen, Approximation Theory and Approximation Practice, ch. 8, from memory). A polynomial of
// degree n makes nothing above n times the band of its input, and nothing below (L − ½)·fs folds
// back into the audible band. So with n = (L − ½)/passBand what folds back is below that bound,
// whatever the input.
func (d Drive) Oversampling() int {
	z := complex(-d.Bias, math.Pi/2) / complex(d.gain(), 0)
	root := cmplx.Sqrt(z*z - 1)
	r := 1 / max(cmplx.Abs(z+root), cmplx.Abs(z-root))
	for factor := 4; ; factor *= 2 {
		degree := math.Floor((float64(factor) - 0.5) / passBand)
		if 20*math.Log10(4*math.Pow(r, degree)/(1-r)) < aliasDB {
			return factor
		}
	}
}

// Apply drives x in place; its peak is brought to 1 before and after.
//
// Sound up to 5/12 of the sample rate (20 kHz at 48) passes the clipper; what is above is taken out
// before it can make tones of its own.
func (d Drive) Apply(x []float64, sampleRate float64) error {
	if err := d.check(); err != nil {
		return err
	}
	Scale(x, 1)
	o := newOversampler(d.Oversampling())
	dry := append([]float64(nil), x...)
	for start := 0; start < len(x); start += driveBlock {
		o.bend(x[start:min(start+driveBlock, len(x))], dry, start, d.curve)
	}
	couple(x, couplingHz/sampleRate)
	Scale(x, 1)
	return nil
}

// couple is a high-pass of first order with its corner at that part of the sample rate.
func couple(x []float64, corner float64) {
	keep := math.Exp(-2 * math.Pi * corner)
	last, out := 0.0, 0.0
	for i, v := range x {
		out = keep*out + (1+keep)/2*(v-last)
		last, x[i] = v, out
	}
}

// An oversampler bends sound at a multiple of its sample rate. It goes there in two strides: by
// two with a sharp filter, then all the rest of the way with a short one.
type oversampler struct {
	stride        int // the second one
	sharp, smooth []float64
	margin        int // samples on either side of a block that the filters reach
	work          [4][]float64
}

func newOversampler(factor int) *oversampler {
	stride := factor / 2
	o := &oversampler{
		stride: stride,
		sharp:  lowPass(passBand/2, 0.25),
		smooth: lowPass(0.25/float64(stride), 0.75/float64(stride)),
	}
	o.margin = len(o.sharp)/2 + len(o.smooth)/stride + 2
	return o
}

// bend fills dst with the driven samples of x from start on.
func (o *oversampler) bend(dst, x []float64, start int, curve func(float64) float64) {
	in := grow(&o.work[0], len(dst)+2*o.margin)
	for i := range in {
		in[i] = 0
		if at := start - o.margin + i; at >= 0 && at < len(x) {
			in[i] = x[at]
		}
	}
	twice := grow(&o.work[1], 2*len(in))
	raise(twice, in, 2, o.sharp)
	high := grow(&o.work[2], o.stride*len(twice))
	raise(high, twice, o.stride, o.smooth)
	for i, v := range high {
		high[i] = curve(v)
	}
	lower(twice, high, o.stride, o.smooth)
	out := grow(&o.work[3], len(in))
	lower(out, twice, 2, o.sharp)
	copy(dst, out[o.margin:])
}

func grow(work *[]float64, n int) []float64 {
	if cap(*work) < n {
		*work = make([]float64, n)
	}
	return (*work)[:n]
}

// raise fills dst with x at factor times its sample rate: dst[n] = factor·Σ h[k]·x[(n+c−k)/factor]
// over all k for which that is whole, c being the middle of h.
func raise(dst, x []float64, factor int, h []float64) {
	c := len(h) / 2
	for n := range dst {
		sum := 0.0
		i := (n + c) / factor
		for k := (n + c) % factor; k < len(h); k += factor {
			if i >= 0 && i < len(x) {
				sum += h[k] * x[i]
			}
			i--
		}
		dst[n] = float64(factor) * sum
	}
}

// lower fills dst with x at a factor-th of its sample rate.
func lower(dst, x []float64, factor int, h []float64) {
	c := len(h) / 2
	for n := range dst {
		sum := 0.0
		first := n*factor - c
		for k := max(0, -first); k < len(h) && first+k < len(x); k++ {
			sum += h[k] * x[first+k]
		}
		dst[n] = sum
	}
}

// lowPass returns a linear-phase low-pass of odd length and unit gain that passes up to pass and
// is down by filterDB from stop on, in cycles per sample: a sinc under a Kaiser window.
//
// Source: J. F. Kaiser, Nonrecursive digital filter design using the I0-sinh window function, Proc.
// IEEE Int. Symp. Circuits and Systems (1974), for length and β.
func lowPass(pass, stop float64) []float64 {
	half := int(math.Ceil((filterDB - 7.95) / (14.36 * (stop - pass)) / 2))
	beta := 0.1102 * (filterDB - 8.7)
	h := make([]float64, 2*half+1)
	sum := 0.0
	for i := range h {
		t := float64(i - half)
		h[i] = sinc((pass+stop)*t) * bessel0(beta*math.Sqrt(1-t*t/float64(half*half)))
		sum += h[i]
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel0 is the modified Bessel function I0, by its power series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}
