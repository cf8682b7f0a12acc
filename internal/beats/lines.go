package beats

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
)

// A line is one decaying cosine of a band: c·exp(s·t) with s = −α + i·ω, and t in seconds from the
// centroid of the window's energy, where amplitude and frequency hang together least.
type line struct{ c, s complex128 }

func (l line) hz() float64 { return imag(l.s) / (2 * math.Pi) }

// A lineFit is a least-squares fit of one or two lines to a window of a band.
type lineFit struct {
	lines []line
	rss   float64 // energy left over
	cost  float64 // minus the logarithm of the likelihood: rss in units of the noise, and the decays
}

// A lineFitter holds the window. It serves one goroutine.
type lineFitter struct {
	z     []complex128
	t     []float64 // s
	rate  float64   // Hz
	width float64   // Hz: see band.width
	noise float64   // power of the noise in one sample, as if it were white
	decay float64   // 1/s, that of the whole window, about which those of the lines are expected
	left  []complex128
	basis [2][]complex128
}

func newLineFitter(z []complex128, rate, width float64) *lineFitter {
	f := &lineFitter{z: z, rate: rate, width: width, t: make([]float64, len(z)), left: make([]complex128, len(z))}
	middle := centroid(z)
	for i := range z {
		f.t[i] = (float64(i) - middle) / rate
	}
	f.basis[0], f.basis[1] = make([]complex128, len(z)), make([]complex128, len(z))
	f.noise = f.floor(width)
	f.decay = f.fall()
	return f
}

// centroid is where the energy of z lies, as an index.
func centroid(z []complex128) float64 {
	sum, moment := 1e-300, 0.0
	for i, v := range z {
		p := real(v)*real(v) + imag(v)*imag(v)
		sum += p
		moment += p * float64(i)
	}
	return moment / sum
}

// spectrum returns the power spectrum of x, scaled so that white noise has its power per sample in
// every bin, and the frequency in Hz of each bin. What the band takes from the noise towards its
// edges is given back: the main lobe of its window is near to 2^(−(f/width)²).
func (f *lineFitter) spectrum(x []complex128, hann bool) (power, hz []float64) {
	n := len(x)
	w := make([]complex128, n)
	for i := range w {
		w[i] = x[i]
		if hann {
			w[i] *= complex((1-math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n)))*math.Sqrt(2.0/3), 0)
		}
	}
	fft := fourier.NewCmplxFFT(n)
	power, hz = make([]float64, n), make([]float64, n)
	for i, c := range fft.Coefficients(nil, w) {
		hz[i] = fft.Freq(i) * f.rate
		power[i] = (real(c)*real(c) + imag(c)*imag(c)) / float64(n)
		if r := hz[i] / f.width; math.Abs(r) < 1 {
			power[i] *= math.Exp2(2 * r * r)
		}
	}
	return power, hz
}

// floor is the power of the noise within the width of the band, from the median of the spectrum.
func (f *lineFitter) floor(width float64) float64 {
	power, hz := f.spectrum(f.z, true)
	var in []float64
	for i, p := range power {
		if math.Abs(hz[i]) <= width {
			in = append(in, p)
		}
	}
	return max(median(in)/math.Ln2, 1e-300)
}

// fall is the decay of the window's energy as an amplitude rate, in 1/s.
func (f *lineFitter) fall() float64 {
	half := len(f.z) / 2
	return math.Log(energy(f.z[:half])/energy(f.z[len(f.z)-half:])) / 2 / (float64(half) / f.rate)
}

func energy(x []complex128) float64 {
	sum := 1e-300
	for _, v := range x {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	return sum
}

// decayDoubt is how far (1/s, one σ) the decay of a line is expected from that of the whole.
func (f *lineFitter) decayDoubt() float64 { return 1 + 1.5*math.Abs(f.decay) }

// steps of a fit at most; it has long converged, or never will.
const maxSteps = 60

// fit fits lines that start at the given frequencies in Hz, by Gauss-Newton steps damped after
// Levenberg and Marquardt. It reports false if that came to nothing.
func (f *lineFitter) fit(hz ...float64) (lineFit, bool) {
	now := lineFit{lines: make([]line, len(hz))}
	for k := range hz {
		now.lines[k].s = complex(-f.decay, 2*math.Pi*hz[k])
	}
	if !f.amplitudes(now.lines) {
		return now, false
	}
	f.weigh(&now)
	damping := 1e-3
	for range maxSteps {
		step, ok := f.step(now.lines, damping)
		if !ok {
			return now, false
		}
		next := lineFit{lines: make([]line, len(hz))}
		for k, l := range now.lines {
			next.lines[k] = line{l.c + step[2*k], l.s + step[2*k+1]}
		}
		f.weigh(&next)
		if math.IsNaN(next.cost) || next.cost > now.cost {
			if damping *= 8; damping > 1e9 {
				break
			}
			continue
		}
		gain := now.cost - next.cost
		now, damping = next, max(damping/8, 1e-12)
		if gain < 1e-9*now.cost+1e-9 {
			break
		}
	}
	return now, true
}

// bases fills the shapes of the lines.
func (f *lineFitter) bases(lines []line) {
	for k, l := range lines {
		e, ratio := cmplx.Exp(l.s*complex(f.t[0], 0)), cmplx.Exp(l.s/complex(f.rate, 0))
		for i := range f.basis[k] {
			f.basis[k][i] = e
			e *= ratio
		}
	}
}

// weigh computes what the lines leave over, and their cost.
func (f *lineFitter) weigh(fit *lineFit) {
	f.bases(fit.lines)
	copy(f.left, f.z)
	for k, l := range fit.lines {
		for i, e := range f.basis[k] {
			f.left[i] -= l.c * e
		}
	}
	fit.rss = energy(f.left)
	fit.cost = fit.rss / f.noise
	for _, l := range fit.lines {
		d := (-real(l.s) - f.decay) / f.decayDoubt()
		fit.cost += d * d / 2
	}
}

// amplitudes sets the amplitudes that fit best.
func (f *lineFitter) amplitudes(lines []line) bool {
	f.bases(lines)
	n := len(lines)
	a, b := mat.NewSymDense(2*n, nil), mat.NewVecDense(2*n, nil)
	for p := range n {
		for q := range n {
			setComplex(a, p, q, dot(f.basis[p], f.basis[q]))
		}
		d := dot(f.basis[p], f.z)
		b.SetVec(2*p, real(d))
		b.SetVec(2*p+1, imag(d))
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
		return false
	}
	for p := range n {
		lines[p].c = complex(x.AtVec(2*p), x.AtVec(2*p+1))
	}
	return true
}

func dot(a, b []complex128) complex128 {
	var sum complex128
	for i := range a {
		sum += cmplx.Conj(a[i]) * b[i]
	}
	return sum
}

// setComplex puts entry p, q of a Hermitian matrix into the real symmetric matrix that does the
// same to real and imaginary parts laid in turn.
func setComplex(a *mat.SymDense, p, q int, v complex128) {
	if q < p {
		return
	}
	a.SetSym(2*p, 2*q, real(v))
	a.SetSym(2*p+1, 2*q+1, real(v))
	if p != q {
		a.SetSym(2*p, 2*q+1, -imag(v))
		a.SetSym(2*p+1, 2*q, imag(v))
	}
}

// normal returns the normal matrix, in units of the noise, and the right side of a step. The
// unknowns are real and imaginary part of c and s of each line: the model is holomorphic in
// them, so a column of the Jacobian is exp(s·t) for c and c·t·exp(s·t) for s.
func (f *lineFitter) normal(lines []line, noise float64) (*mat.SymDense, *mat.VecDense) {
	n := 2 * len(lines)
	columns := make([][]complex128, n)
	for k, l := range lines {
		columns[2*k] = f.basis[k]
		slope := make([]complex128, len(f.z))
		for i, e := range f.basis[k] {
			slope[i] = l.c * complex(f.t[i], 0) * e
		}
		columns[2*k+1] = slope
	}
	a, b := mat.NewSymDense(2*n, nil), mat.NewVecDense(2*n, nil)
	for p := range n {
		for q := p; q < n; q++ {
			setComplex(a, p, q, dot(columns[p], columns[q])*complex(2/noise, 0))
		}
		d := dot(columns[p], f.left) * complex(2/noise, 0)
		b.SetVec(2*p, real(d))
		b.SetVec(2*p+1, imag(d))
	}
	for k, l := range lines {
		i, w := 4*k+2, 1/(f.decayDoubt()*f.decayDoubt())
		a.SetSym(i, i, a.At(i, i)+w)
		b.SetVec(i, b.AtVec(i)+w*(-f.decay-real(l.s)))
	}
	return a, b
}

// step is a damped Gauss-Newton step for c and s of each line. weigh must have run on them.
func (f *lineFitter) step(lines []line, damping float64) ([]complex128, bool) {
	f.weigh(&lineFit{lines: lines})
	a, b := f.normal(lines, f.noise)
	n := b.Len()
	for i := range n {
		a.SetSym(i, i, a.At(i, i)*(1+damping))
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
		return nil, false
	}
	step := make([]complex128, n/2)
	for i := range step {
		step[i] = complex(x.AtVec(2*i), x.AtVec(2*i+1))
	}
	return step, true
}

// covariance returns the covariance of the unknowns for noise of that power; false if the lines
// cannot be told apart.
func (f *lineFitter) covariance(fit lineFit, noise float64) (*mat.SymDense, bool) {
	f.weigh(&fit)
	a, _ := f.normal(fit.lines, noise)
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	var inv mat.SymDense
	if chol.InverseTo(&inv) != nil {
		return nil, false
	}
	return &inv, true
}

// misfit is how many times as much a fit must leave near its lines as elsewhere to be called no
// true picture of the sound; noise alone leaves so much in one of a thousand windows.
const misfit = 4

// noiseNear returns the power of what the fit leaves over: in the band, or near the lines if there
// is more of it there, as real strings, which are no sums of lines, leave it; and whether they do.
func (f *lineFitter) noiseNear(fit lineFit, width float64) (noise float64, untrue bool) {
	f.weigh(&fit)
	power, hz := f.spectrum(f.left, false)
	low, high := math.Inf(1), math.Inf(-1)
	for _, l := range fit.lines {
		low, high = min(low, l.hz()), max(high, l.hz())
	}
	margin := 4 * f.rate / float64(len(f.z))
	used := float64(2 * len(fit.lines)) // complex unknowns
	var band, near meanOf
	for i, p := range power {
		if math.Abs(hz[i]) <= width {
			band.add(p)
		}
		if hz[i] >= low-margin && hz[i] <= high+margin {
			near.add(p)
		}
	}
	white := max(band.less(used), f.noise*1e-3)
	return max(white, near.less(used)), near.less(used) > misfit*white
}

// A meanOf adds up values.
type meanOf struct{ sum, n float64 }

func (m *meanOf) add(x float64) { m.sum, m.n = m.sum+x, m.n+1 }

// less is the mean where so many unknowns were fitted to the values.
func (m *meanOf) less(unknowns float64) float64 {
	if m.n <= 2*unknowns {
		return 0
	}
	return m.sum / (m.n - unknowns)
}
