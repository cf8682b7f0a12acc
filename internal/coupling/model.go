package coupling

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// logPerCent is ln T per cent: tension grows with the square of the pitch.
const logPerCent = 2 * math.Ln2 / 1200

// params are the logarithms of what is not known of an instrument: weights of the modes, then the stiffness
// of each string against that of its prior, then the levers.
type params []float64

func (p *Prior) count() int { return len(p.modes) + 2*len(p.Strings) }

// A response is the model at some params.
type response struct {
	weight  []float64     // of each mode, mm/N
	inverse []float64     // 1/k, mm/N
	lever   []float64     // of each string
	a       *mat.SymDense // A = (diag(1/k) + C)⁻¹, N/mm
}

// respond computes the model at params.
func (p *Prior) respond(y params) *response {
	n, w := len(p.Strings), len(p.modes)
	r := &response{weight: make([]float64, w), inverse: make([]float64, n), lever: make([]float64, n)}
	for m := range p.modes {
		r.weight[m] = math.Exp(y[m])
	}
	for i := range p.Strings {
		r.inverse[i] = math.Exp(-y[w+i]) / p.Strings[i].Stiffness()
		r.lever[i] = math.Exp(y[w+n+i])
	}
	if w == 0 { // nothing gives: no rounding may make a string pull at another
		r.a = mat.NewSymDense(n, nil)
		for i := range n {
			r.a.SetSym(i, i, 1/r.inverse[i])
		}
		return r
	}
	give := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			c := 0.0
			for m := range p.modes {
				c += r.weight[m] * p.modes[m].shape.At(i, j)
			}
			c *= r.lever[i] * r.lever[j]
			if i == j {
				c += r.inverse[i]
			}
			give.SetSym(i, j, c)
		}
	}
	r.a = inverse(give)
	return r
}

// inverse returns that of a positive matrix. One that rounding has spoilt gets as much on its diagonal as
// mends it.
func inverse(m *mat.SymDense) *mat.SymDense {
	n := m.SymmetricDim()
	out := mat.NewSymDense(n, nil)
	var chol mat.Cholesky
	for ridge := 0.0; ; ridge = 10*ridge + 1e-12 {
		for i := range n {
			m.SetSym(i, i, m.At(i, i)*(1+ridge))
		}
		if chol.Factorize(m) && chol.InverseTo(out) == nil {
			return out
		}
	}
}

// pull returns R_ji: what string j gains in tension for 1 N more on string i, by its peg.
func (r *response) pull(j, i int) float64 { return r.a.At(j, i) / r.a.At(i, i) }

// slopes returns ∂R_ji/∂y of all strings j, n × len(y), for string i in hand. They follow from
// dA = −A·d(diag(1/k) + C)·A.
func (p *Prior) slopes(r *response, i int) *mat.Dense {
	n, w := len(p.Strings), len(p.modes)
	d := mat.NewDense(n, p.count(), nil)
	aii := r.a.At(i, i)
	rel := make([]float64, n) // A_oi/A_ii
	levered := mat.NewVecDense(n, nil)
	for o := range n {
		rel[o] = r.pull(o, i)
		levered.SetVec(o, r.lever[o]*rel[o])
	}
	var bent, u mat.VecDense
	for m := range p.modes {
		bent.MulVec(p.modes[m].shape, levered)
		for o := range n {
			bent.SetVec(o, bent.AtVec(o)*r.lever[o]*r.weight[m])
		}
		u.MulVec(r.a, &bent)
		for j := range n {
			d.Set(j, m, -(u.AtVec(j) - rel[j]*u.AtVec(i)))
		}
	}
	for o := range n {
		g := r.inverse[o] * rel[o]
		h := -g // of C·A·e_i/A_ii
		if o == i {
			h += 1 / aii
		}
		lean := func(j int) float64 { // of A·C at jo, times rel
			l := -r.a.At(j, o) * r.inverse[o]
			if j == o {
				l++
			}
			return r.a.At(j, o)*h + l*rel[o]
		}
		atHand := lean(i)
		for j := range n {
			d.Set(j, w+o, r.a.At(j, o)*g-rel[j]*r.a.At(i, o)*g)
			d.Set(j, w+n+o, -lean(j)+rel[j]*atHand)
		}
	}
	return d
}

// After returns what strings that sound at cents read after string i was turned until it reads z: the closed
// form of the model at its medians, for large moves too.
func (p *Prior) After(cents []float64, i int, z float64) []float64 {
	return p.after(p.respond(p.mean()), cents, i, z)
}

// slackest is the part of its tension that a string is taken to keep whatever the model says, so that a
// logarithm exists.
const slackest = 0.3

func (p *Prior) after(r *response, cents []float64, i int, z float64) []float64 {
	out := make([]float64, len(cents))
	s := &p.Strings[i]
	change := s.TensionN * (math.Exp(logPerCent*z) - math.Exp(logPerCent*cents[i]))
	for j := range out {
		t := p.Strings[j].TensionN * math.Exp(logPerCent*cents[j])
		out[j] = cents[j] + p.Strings[j].heard()*math.Log(max(1+r.pull(j, i)*change/t, slackest))/logPerCent
	}
	out[i] = z
	return out
}

// mean returns the params that are believed before anything was heard.
func (p *Prior) mean() params {
	y := make(params, p.count())
	for m := range p.modes {
		y[m] = p.modes[m].logWeight
	}
	return y
}

// sd returns their standard deviations.
func (p *Prior) sd() []float64 {
	n, w := len(p.Strings), len(p.modes)
	sd := make([]float64, p.count())
	for m := range p.modes {
		sd[m] = p.modes[m].logSD
	}
	for i := range n {
		sd[w+i], sd[w+n+i] = stiffnessSD, leverSD
	}
	return sd
}
