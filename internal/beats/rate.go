package beats

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"tunerd/internal/stiffstring"
)

// A rate is the beat rate by one method.
type rate struct {
	found, known bool
	weak         bool // one line would do as well: there is no second, or it is too near
	split        bool // partials of the strings are no single lines
	strings      [2]Deviation
	at, atSigma  [2]float64 // where the partials of lower and upper string must lie, Hz; sigma +Inf: not known
	from, to     int
	beat, sigma  float64 // Hz; beat is signed if the method knows the side
	hz           float64
	low, high    float64 // the lines, Hz
}

// twoLines fits two lines to the coincidence. A window of many beats is shortened.
func (m *Meter) twoLines(from, to int, predicted rate) rate {
	r := m.fitTwo(from, to, predicted)
	if !r.found {
		return r
	}
	if short := from + int(max(1.5, enoughBeats/r.beat)*m.rate); short < to {
		if again := m.fitTwo(from, short, predicted); again.found {
			return again
		}
	}
	return r
}

// faded is how many times as long as to the centroid of its energy a decaying sound is looked at: an
// exponential has then fallen by 60 dB.
const faded = 14

// significant is by how much two lines must be likelier than one, as a logarithm: 4 unknowns more
// and some dozen tries give 12 by chance about once in a thousand.
const significant = 12

// weakDoubt widens σ where two lines are hardly told apart: the likelihood is far from normal there.
// With it the share of trials within 1.96σ is as it should be; see TestMeterCoverage.
const weakDoubt = 2

// fitTwo finds nothing where nothing is heard, as where a string was plucked at a node.
func (m *Meter) fitTwo(from, to int, predicted rate) rate {
	width := m.main.width()
	to = min(to, from+max(int(leastS*m.rate), int(faded*centroid(m.main.out[from:to]))))
	f := newLineFitter(m.main.out[from:to], m.rate, width)
	peak, height := f.peak(width)
	if height < 20*f.noise {
		return rate{}
	}
	one, ok := f.fit(peak)
	if !ok {
		return rate{}
	}
	r := rate{from: from, to: to, hz: m.main.hz + one.lines[0].hz()}
	two, ok := f.fitBest(one.lines[0].hz(), width, m.main.hz, predicted)
	if !ok {
		return r
	}
	noise, untrue := f.noiseNear(two, width)
	r.weak = one.cost-two.cost < significant*max(1, noise/f.noise)
	slices.SortFunc(two.lines, func(a, b line) int { return cmp.Compare(a.hz(), b.hz()) })
	cov, ok := f.covariance(two, noise)
	if !ok {
		return r
	}
	low, high := two.lines[0].hz(), two.lines[1].hz()
	variance := cov.At(3, 3) + cov.At(7, 7) - 2*cov.At(3, 7)
	r.found = true
	r.beat, r.sigma = high-low, math.Sqrt(variance)/(2*math.Pi)
	if r.weak {
		r.sigma *= weakDoubt
	}
	r.split = untrue
	r.low, r.high = m.main.hz+low, m.main.hz+high
	return r
}

// peak is the highest line of the window, in Hz from the centre, and its height.
func (f *lineFitter) peak(width float64) (at, height float64) {
	power, hz := f.spectrum(f.z, true)
	for i, p := range power {
		if math.Abs(hz[i]) <= width && p > height {
			at, height = hz[i], p
		}
	}
	return at, height
}

// ownHz is how far apart the two polarisations of one string may sound, in Hz.
const ownHz = 1.0

// believable says whether two lines so far apart can be those of the two strings. If they are near
// together and the strings are predicted to be farther apart, they are a loud string's own two
// polarisations.
func (r *rate) believable(beat float64) bool {
	return !r.known || beat > ownHz || math.Abs(r.beat)-3.5*r.sigma < beat
}

// mostUnlikely is what a pair of lines far from its prediction costs, as a logarithm: the other
// partials may be those of another string, so what they say is outvoted by lines that are clear.
const mostUnlikely = 25

// unlikely is minus the logarithm of how likely two lines are by what the other partials say, either
// way round; 0 where they say nothing.
func (r *rate) unlikely(low, high float64) float64 {
	if !r.known {
		return 0
	}
	z := func(hz float64, i int) float64 { return (hz - r.at[i]) / r.atSigma[i] }
	straight := z(low, 0)*z(low, 0) + z(high, 1)*z(high, 1)
	crossed := z(low, 1)*z(low, 1) + z(high, 0)*z(high, 0)
	return min(min(straight, crossed)/2, mostUnlikely)
}

// fitBest fits two lines from many starts: the one already found with each of the highest others
// that is left without it, with one as far off as predicted, and splits of it closer than the window
// resolves; centre is the middle of the band, in Hz. It returns the one of those believable that is likeliest by the sound and by what the
// other partials say: where one of the two is weak, the highest peak may be noise.
func (f *lineFitter) fitBest(one, width, centre float64, predicted rate) (lineFit, bool) {
	resolution := f.rate / float64(len(f.z))
	var best lineFit
	found, least := false, 0.0
	try := func(a, b float64) {
		fit, ok := f.fit(a, b)
		if !ok || !f.sane(fit, width) || !predicted.believable(math.Abs(fit.lines[0].hz()-fit.lines[1].hz())) {
			return
		}
		low, high := fit.lines[0].hz(), fit.lines[1].hz()
		if cost := fit.cost + predicted.unlikely(centre+min(low, high), centre+max(low, high)); !found || cost < least {
			best, found, least = fit, true, cost
		}
	}
	if predicted.known {
		try(one, one+predicted.beat)
		try(one, one-predicted.beat)
	}
	single, _ := f.fit(one)
	f.weigh(&single)
	power, hz := f.spectrum(f.left, true)
	for range 3 {
		top := 0
		for i, p := range power {
			if math.Abs(hz[i]) <= width && p > power[top] {
				top = i
			}
		}
		if math.Abs(hz[top]-one) > 0.2*resolution {
			try(one, hz[top])
		}
		for i := range power {
			if math.Abs(hz[i]-hz[top]) < 2*resolution {
				power[i] = 0
			}
		}
	}
	for _, split := range []float64{0.2, 0.5, 0.9, 1.4} {
		d := split * resolution
		try(one-d/2, one+d/2)
		try(one, one+d)
		try(one-d, one)
	}
	return best, found
}

// sane refuses fits that have run out of the band or made two strong lines that cancel.
func (f *lineFitter) sane(fit lineFit, width float64) bool {
	top := 0.0
	for _, v := range f.z {
		top = max(top, real(v)*real(v)+imag(v)*imag(v))
	}
	first, last := f.t[0], f.t[len(f.t)-1]
	for _, l := range fit.lines {
		loud := cmplx.Abs(l.c) * math.Exp(max(real(l.s)*first, real(l.s)*last))
		if math.Abs(l.hz()) > width || loud*loud > 50*top {
			return false
		}
	}
	return true
}

// splitCents is how far a line of a real string may be off for being two lines itself, its two
// polarisations, if it is well apart from the other string's.
const splitCents = 0.13

// widen adds to σ what two lines cannot tell of strings whose partials are no single lines: the less
// the fewer the beats in the window. The size is measured; see TestMeterCoverage.
func (r *rate) widen(perSecond float64) {
	beats := max(r.beat*float64(r.to-r.from)/perSecond, 0.2)
	r.sigma = math.Hypot(r.sigma, splitCents*(1+2/beats)*r.hz*math.Ln2/1200)
}

// contradiction is by how many standard errors two lines may be off their prediction.
const contradiction = 3

// take fills in the two lines, and the side from what the other partials say.
func (out *Measurement) take(two, predicted rate) {
	out.Method = TwoLines
	out.Hz = (two.low + two.high) / 2
	out.BeatHz, out.SigmaHz = two.beat, two.sigma
	out.LowerHz, out.UpperHz = two.low, two.high
	out.Cents = stiffstring.Cents(two.high, two.low)
	out.CentsSigma = stiffstring.CentsPerNeper * two.sigma / out.Hz
	leaning := predicted.leaning(two)
	if signed := math.Copysign(two.beat, leaning); predicted.known && math.Abs(signed-predicted.beat) > contradiction*math.Hypot(two.sigma, predicted.sigma) {
		out.Ambiguous, out.OtherHz, out.OtherSigmaHz = true, math.Abs(predicted.beat), predicted.sigma
		return
	}
	if math.Abs(leaning) < math.Log(odds) {
		return
	}
	out.Known = true
	if leaning < 0 {
		out.Cents = -out.Cents
		out.LowerHz, out.UpperHz = two.high, two.low
	}
}

// leaning is the logarithm of the odds that the lower of two lines is the lower string's, which makes
// the interval wide: both are as likely before, and each string is predicted with a normal error.
func (r *rate) leaning(two rate) float64 {
	nearer := func(i int) float64 { // how much likelier the lower line is string i's than the upper one
		doubt := r.atSigma[i]*r.atSigma[i] + two.sigma*two.sigma
		return ((two.high-r.at[i])*(two.high-r.at[i]) - (two.low-r.at[i])*(two.low-r.at[i])) / (2 * doubt)
	}
	return nearer(0) - nearer(1)
}

// predicted fills in what the other partials alone say.
func (out *Measurement) predicted(p rate) {
	out.Method, out.Hz = OtherPartials, p.hz
	out.BeatHz, out.SigmaHz = math.Abs(p.beat), p.sigma
	out.Cents = stiffstring.Cents(p.hz+p.beat/2, p.hz-p.beat/2)
	out.CentsSigma = stiffstring.CentsPerNeper * p.sigma / p.hz
	out.Known = normalOdds(p.beat/p.sigma) > odds
	if !out.Known {
		out.Cents = math.Abs(out.Cents)
	}
}

// normalOdds are the odds that a normal value lies on the side of 0 of its mean, z sigma away.
func normalOdds(z float64) float64 {
	beyond := math.Erfc(math.Abs(z)/math.Sqrt2) / 2
	return (1 - beyond) / max(beyond, 1e-300)
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[len(x)/2]
}
