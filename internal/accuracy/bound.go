// Package accuracy measures a pitch estimator against the truth and against the limit.
//
// It renders seeded synthetic strings, gives each window to an estimator, and sets the error beside
// the Cramér–Rao bound: the smallest standard deviation that any unbiased estimator can reach.
// Errors and bounds are in cents of partial 1, one standard deviation, unless said otherwise; SNR
// is the string's mean power over the window against white noise in the whole band.
//
// Start with [Run]; the bounds stand alone as [StringBound], [SinusoidBound] and [HarmonicBound].
// The estimator is a plain function, so nothing here depends on how it works.
package accuracy

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"tunerd/internal/stiffstring"
)

// A StringModel is a sounding stiff string as seen from the centre of a window. The slices run over
// the partials, 1 first, and have one length.
type StringModel struct {
	F1Hz, B float64
	Amps    []float64 // peak, at the window's centre
	Decays  []float64 // 1/s
	Phases  []float64 // rad, at the window's centre
	Glide   Glide
}

// A Glide is the fall of the pitch after the pluck, F1Hz·2^(Cents·exp(−t/Tau)/1200) at t s after it.
// The zero value is none. Depth and time constant are unknown to a bound, and F1Hz is the pitch that
// is settled to.
type Glide struct {
	Cents, Tau float64 // Tau in s
	Age        float64 // s from the pluck to the window's centre
}

// byDepth and byTau are the derivatives of the time in s that a clock at the string's pitch shows t
// seconds from the window's centre, to first order in Cents: the clock is
// t + Cents/(1200/ln 2)·Tau·(1−exp(−(t+Age)/Tau)).
func (g Glide) byDepth(t float64) float64 {
	return -g.Tau * math.Expm1(-(t+g.Age)/g.Tau) / stiffstring.CentsPerNeper
}

func (g Glide) byTau(t float64) float64 {
	u := (t + g.Age) / g.Tau
	return g.Cents / stiffstring.CentsPerNeper * (-math.Expm1(-u) - u*math.Exp(-u))
}

// Assumed says what a bound takes as known beforehand. Amplitudes and phases are always unknown.
type Assumed struct {
	B      bool // the inharmonicity
	Decays bool // the decay rates
}

// A Bound is a pair of marginal Cramér–Rao bounds, as standard deviations.
type Bound struct {
	F1Cents float64
	B       float64 // 0 if B was assumed known
}

// errUnidentifiable says that the window does not determine the parameters.
var errUnidentifiable = errors.New("accuracy: the window is too short to tell the partials apart")

// fisherRows samples are gathered before they enter the Fisher matrix.
const fisherRows = 512

// StringBound returns the bound for n samples of the string in white Gaussian noise of standard
// deviation sigma. The Fisher matrix is JᵀJ/σ², J holding the derivatives of the signal by f1, B,
// and for every partial by its cosine and sine amplitude and its decay; the variance of f1 is the
// first element of the inverse, so what the other parameters cost is counted.
//
//	∂f_k/∂f1 = f_k/f1
//	∂f_k/∂B  = k·f1·(k²−1) / (2·√((1+B·k²)/(1+B))·(1+B)²)
//
// Source: S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, ch. 3.
func StringBound(m StringModel, n int, sampleRate, sigma float64, known Assumed) (Bound, error) {
	k := len(m.Amps)
	if k == 0 || len(m.Decays) != k || len(m.Phases) != k {
		return Bound{}, fmt.Errorf("accuracy: %d amplitudes, %d decays and %d phases, want one of each per partial",
			k, len(m.Decays), len(m.Phases))
	}
	fisher, scale := m.fisher(n, sampleRate, known)
	var chol mat.Cholesky
	if !chol.Factorize(fisher) {
		return Bound{}, errUnidentifiable
	}
	sd := func(i int) float64 { return sigma * math.Sqrt(inverseDiagonal(&chol, i)) / scale[i] }
	bound := Bound{F1Cents: stiffstring.CentsPerNeper / m.F1Hz * sd(0)}
	if !known.B {
		bound.B = sd(1)
	}
	return bound, nil
}

// inverseDiagonal is element (i, i) of the inverse of the factorised matrix.
func inverseDiagonal(chol *mat.Cholesky, i int) float64 {
	unit := mat.NewVecDense(chol.SymmetricDim(), nil)
	unit.SetVec(i, 1)
	var column mat.VecDense
	// A condition number that is only bad still leaves the digits that a bound needs.
	if err := chol.SolveVecTo(&column, unit); err != nil && column.Len() == 0 {
		return math.NaN()
	}
	return column.AtVec(i)
}

// fisher returns σ²·(Fisher matrix) with every parameter scaled to a unit diagonal, and the scales.
func (m StringModel) fisher(n int, sampleRate float64, known Assumed) (*mat.SymDense, []float64) {
	params := m.params(known)
	sum := mat.NewSymDense(params, nil)
	rows := mat.NewDense(fisherRows, params, nil)
	for first := 0; first < n; first += fisherRows {
		count := min(fisherRows, n-first)
		for i := range count {
			m.gradient(rows.RawRowView(i), (float64(first+i)-float64(n-1)/2)/sampleRate, known)
		}
		block := rows.Slice(0, count, 0, params)
		sum.SymRankK(sum, 1, block.T())
	}
	scale := make([]float64, params)
	for i := range scale {
		scale[i] = math.Sqrt(sum.At(i, i))
	}
	for i := range params {
		for j := i; j < params; j++ {
			sum.SetSym(i, j, sum.At(i, j)/(scale[i]*scale[j]))
		}
	}
	return sum, scale
}

func (m StringModel) params(known Assumed) int {
	n := 1 + 2*len(m.Amps)
	if !known.B {
		n++
	}
	if !known.Decays {
		n += len(m.Amps)
	}
	if m.Glide.Tau > 0 {
		n += 2
	}
	return n
}

// gradient fills dst with the derivatives of the signal at t seconds from the window's centre.
func (m StringModel) gradient(dst []float64, t float64, known Assumed) {
	byF1, byB, byClock := 0.0, 0.0, 0.0
	next := 1
	if !known.B {
		next = 2
	}
	for i, amp := range m.Amps {
		k := float64(i + 1)
		hz := stiffstring.PartialHz(m.F1Hz, m.B, i+1)
		envelope := math.Exp(-m.Decays[i] * t)
		sin, cos := math.Sincos(2*math.Pi*hz*t + m.Phases[i])
		sin, cos = envelope*sin, envelope*cos
		byPhase := -amp * sin
		byClock += byPhase * 2 * math.Pi * hz
		byF1 += byPhase * 2 * math.Pi * t * hz / m.F1Hz
		stretch := math.Sqrt((1 + m.B*k*k) / (1 + m.B))
		byB += byPhase * 2 * math.Pi * t * k * m.F1Hz * (k*k - 1) / (2 * stretch * (1 + m.B) * (1 + m.B))
		dst[next], dst[next+1] = cos, sin
		next += 2
		if !known.Decays {
			dst[next] = -t * amp * cos
			next++
		}
	}
	dst[0] = byF1
	if !known.B {
		dst[1] = byB
	}
	if m.Glide.Tau > 0 {
		dst[next], dst[next+1] = byClock*m.Glide.byDepth(t), byClock*m.Glide.byTau(t)
	}
}

// SinusoidBound returns the bound in cents for n samples of one real sinusoid of unknown amplitude
// and phase:
//
//	var(ω) ≥ 12/(η·N·(N²−1)) rad²/sample², η = A²/(2σ²)
//
// It holds for many periods in the window. Source: D. C. Rife and R. R. Boorstyn, IEEE Trans. Inf.
// Theory 20, 1974; Kay 1993, eq. 3.41 (equation number from memory).
func SinusoidBound(hz float64, n int, sampleRate, snrDB float64) float64 {
	eta := math.Pow(10, snrDB/10)
	return toCents(math.Sqrt(12/(eta*cubed(n))), hz, sampleRate)
}

// HarmonicBound returns the bound in cents for n samples of a harmonic sum with the given peak
// amplitudes in white noise of standard deviation sigma:
//
//	var(ω) ≥ 24·σ²/(N·(N²−1)·Σ k²·A_k²) rad²/sample²
//
// It holds for many periods in the window and no decay. Source: M. G. Christensen and A. Jakobsson,
// Multi-Pitch Estimation, 2009.
func HarmonicBound(hz float64, amps []float64, n int, sampleRate, sigma float64) float64 {
	sum := 0.0
	for i, a := range amps {
		k := float64(i + 1)
		sum += k * k * a * a
	}
	return toCents(sigma*math.Sqrt(24/(cubed(n)*sum)), hz, sampleRate)
}

// cubed is N·(N²−1).
func cubed(n int) float64 {
	f := float64(n)
	return f * (f*f - 1)
}

// toCents turns a small deviation in rad/sample into cents at hz.
func toCents(omega, hz, sampleRate float64) float64 {
	return stiffstring.CentsPerNeper * omega * sampleRate / (2 * math.Pi * hz)
}
