package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// A model is a string as a fit believes it to be: f1, B, and of each partial its amplitude, its decay and
// how far it lies off the law. Its methods say how far that may go in the window it stands for.
type model struct {
	window *series
	live   bool // fits must be cheap

	f1, b         float64 // [Hz] partial 1 under the law; inharmonicity
	sigma, sigmaB float64 // standard uncertainty of f1, in cents, and of b
	prior         stiffstring.Prior
	row           [MaxPartials]partialState // by row of the window
	rows          int                       // of these in the window that it was begun with
}

// A partialState is what the model holds of one partial.
type partialState struct {
	c        complex128 // amplitude, at the end of the window where it is loudest
	alpha    float64    // [1/s] decay
	off      float64    // [cents] frequency against the law, as taken so far
	offSigma float64    // [cents] how well the frequency is known beside the law
	seen     sighting
}

// A sighting is what earlier windows have shown of a partial.
type sighting uint8

const (
	untried sighting = iota
	buried           // looked for, not found to stand out of the noise
	found            // its own frequency is known
)

// decay prior: strings and pipes alike decay by some 1/s; a buried partial must not run away.
const (
	decayMean  = 3.0  // 1/s
	decaySigma = 30.0 // 1/s
)

// Limits of what a partial may be in a window, and of one step towards it.
const (
	highestHz    = 0.46 // of the sample rate: above, the filter of a converter begins
	mostFade     = 1.5  // nepers that a partial may lose within a block: the series in fading hold to 2
	silentAfter  = 3.0  // nepers by which it has died down so far that it tells no more of its frequency
	slowestDecay = 1e-3 // 1/s, where a division needs one
	stepBins     = 0.3  // of 1/length, a step of its frequency: beyond, the tangent is another
	stepFade     = 0.7  // nepers over the width of its energy, a step of its decay
	stepCents    = 40.0 // a step of f1
	leastB       = -1e-4
	mostB        = 0.05
	nothing      = 1e-30 // amplitude of a partial that is looked for in vain, so that it is not taken for a new one
)

// FurthestOff is how far (cents) off the law a partial is followed.
const FurthestOff = 40

// What a fit has found is carried to the next window with some allowance.
const (
	carriedTimes = 1.5
	carriedLeast = 0.03 // cents
)

// carriedSigma returns how well (cents) a frequency is taken to be known in the next window that is known to sigma in
// this one.
func carriedSigma(sigma float64) float64 { return sigma*carriedTimes + carriedLeast }

// begin sets what is known of the string before a fit to the window s. What earlier windows have shown of single
// partials stays if k carries it.
func (m *model) begin(s *series, k *Start, live bool) {
	m.window, m.live = s, live
	m.f1, m.b, m.prior = k.F1Hz, k.B, k.Prior
	m.sigma, m.sigmaB = k.SigmaCents, k.SigmaB
	m.rows = s.rows
	for r := range m.row {
		p := &m.row[r]
		if !k.carry {
			m.forget(r)
		}
		if r >= s.rows {
			continue
		}
		p.c = 0
		if !(math.Abs(p.off) <= FurthestOff) || math.IsNaN(p.alpha) { // a fit that came to nothing
			m.forget(r)
		}
		p.alpha = m.allowed(p.alpha)
	}
}

// forget drops what earlier fits have found of the frequency and decay of row r.
func (m *model) forget(r int) {
	p := &m.row[r]
	p.off, p.offSigma, p.seen, p.alpha = 0, stiffstring.ScatterSigma(r+1), untried, decayMean
}

// hz returns the frequency of partial n, of row r.
func (m *model) hz(r, n int) float64 {
	return stiffstring.PartialHz(m.f1, m.b, n) * math.Exp(m.row[r].off/stiffstring.CentsPerNeper)
}

// bins returns how many bins of the window partials lie apart, as many as it holds periods.
func (m *model) bins() float64 { return 2 * m.window.half * m.f1 }

// followed returns the departure from the law (cents) nearest to off to which partial n is followed.
func (m *model) followed(off float64, n int) float64 {
	most := float64(FurthestOff)
	if !m.live {
		const quarter = 4 // of the way to the next
		most = min(most, stiffstring.CentsPerNeper/quarter/float64(n))
	}
	return within(off, most)
}

// within returns the number nearest to x that is no larger than limit on either side of 0.
func within(x, limit float64) float64 { return max(-limit, min(limit, x)) }

// allowed returns the decay rate nearest to a that the blocks of the window can follow.
//
// In the many short blocks of a fit that is not live, and in windows of a few periods, rows without a partial follow
// what the model lacks (the tail of a room, a glide). There a partial is followed no further than a quarter of the
// way to the next, and its spectral line, a/π wide, may fill no more than half of it: else rows could not be told
// from each other, nor the equations be solved.
func (m *model) allowed(a float64) float64 {
	most := mostFade * m.window.fs / float64(m.window.length)
	if !m.live || !m.separable() {
		most = min(most, math.Pi/2*m.f1)
	}
	return max(-0.5/m.window.half, min(most, a))
}

// length returns for how long (s) row r sounds within the window.
func (m *model) length(r int) float64 {
	return min(2*m.window.half, silentAfter/max(m.row[r].alpha, slowestDecay))
}

// loudest returns the time (s from the middle of the window) at which row r is loudest.
func (m *model) loudest(r int) float64 {
	if m.row[r].alpha < 0 {
		return m.window.half
	}
	return -m.window.half
}

// vaguePitch is added to the uncertainty of f1 (cents) where it says where partials lie: the pitch of a real string
// is never that of its law to the last digit.
const vaguePitch = 0.02

// uncertain returns how far (Hz) the partial of row r may lie from where the model has it.
func (m *model) uncertain(r int) float64 {
	k, p := m.window.number[r], &m.row[r]
	f := stiffstring.PartialHz(m.f1, m.b, k)
	byLaw := math.Hypot(stiffstring.PartialHzByB(m.f1, m.b, k)*m.sigmaB, f*(m.sigma+vaguePitch)/stiffstring.CentsPerNeper)
	own := f / stiffstring.CentsPerNeper * p.offSigma
	switch p.seen {
	case found:
		return min(own, math.Hypot(byLaw, f/stiffstring.CentsPerNeper*stiffstring.ScatterSigma(k)))
	case buried: // where exactly does not matter
		return byLaw
	}
	return math.Hypot(byLaw, own)
}

// stepF1 moves f1 by dc cents, as far as one step may go, and returns by how much it did.
func (m *model) stepF1(dc float64) float64 {
	dc = within(dc, stepCents)
	m.f1 *= math.Exp(dc / stiffstring.CentsPerNeper)
	return dc
}

// allowedB returns the inharmonicity nearest to b that a string may have.
func allowedB(b float64) float64 { return max(leastB, min(mostB, b)) }

// stepOff returns a step of the departure of the partial of row r, at hz, as far as one may go (cents).
func (m *model) stepOff(r int, hz, cents float64) float64 {
	return within(cents, stiffstring.CentsPerNeper*stepBins/(m.length(r)*hz))
}

// stepDecay returns the decay of active partial p moved by a step (1/s), as far as one may go.
func (m *model) stepDecay(p *activePartial, step float64) float64 {
	return m.row[p.row].alpha + within(step, stepFade/p.width)
}

// setDecay sets the decay of active partial p and returns what its amplitude, kept as that at the loudest end of the
// window, is to be multiplied by so that it stays at the centroid of its energy.
func (m *model) setDecay(p *activePartial, alpha float64) complex128 {
	s := &m.row[p.row]
	from := s.alpha * (p.centre - m.loudest(p.row))
	s.alpha = alpha
	return complex(math.Exp(alpha*(p.centre-m.loudest(p.row))-from), 0)
}

// grow adds dc to the amplitude of active partial p at the centroid of its energy and sets its decay.
func (m *model) grow(p *activePartial, dc complex128, alpha float64) {
	s := &m.row[p.row]
	s.c += dc
	s.c *= m.setDecay(p, alpha)
}

// start adds c to the amplitude of active partial p, which may have had none.
func (m *model) start(p *activePartial, c complex128) {
	s := &m.row[p.row]
	s.c += c
	if s.c == 0 {
		s.c = complex(nothing, 0)
	}
}

// highest returns the number of rows up to the highest of the active partials that was found.
func (m *model) highest(active []activePartial) int {
	for k := len(active) - 1; k >= 0; k-- {
		if r := active[k].row; m.row[r].seen == found {
			return r + 1
		}
	}
	return 0
}

// fresh reports whether some active partial has no amplitude yet.
func (m *model) fresh(active []activePartial) bool {
	for i := range active {
		if m.row[active[i].row].c == 0 {
			return true
		}
	}
	return false
}

// By how much (rad) the phase of the highest partial may stray from its window's warp before that is fitted again: far
// partials are led astray by each other's phases less.
const (
	strayPhase    = 0.01
	strayPhaseFar = 0.1
)

// enoughPhase returns how well (rad) the movement of the pitch must be known.
func (m *model) enoughPhase() float64 {
	if m.live && m.bins() > resumeBins {
		return strayPhaseFar
	}
	return strayPhase
}
