package coupling

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A Step is one move of a forecast pass: what to do, and what all strings then read.
type Step struct {
	Advice
	Cents, SigmaCents []float64
}

// Forecast returns the pass that is left, move by move, for a hand that sets pegs with so many cents of σ and
// hears with so many.
//
// The limits of tension cut moves short by what is known at that time, which no single forecast foresees. So
// where they do, what comes of the pass, its last step, is the mean and the scatter of passes that are drawn
// from what is believed.
func (a *Adviser) Forecast(pegSigma, readingSigma float64) []Step {
	dry, cut := a.copy(), false
	var steps []Step
	for {
		next, ok := dry.Next()
		if !ok {
			break
		}
		cut = cut || next.Part < 1
		dry.turn(Reading{next.String, next.NowCents, math.Hypot(pegSigma, readingSigma)}, nil)
		dry.moved(next.String, false)
		c, s := dry.Cents()
		steps = append(steps, Step{next, c, s})
	}
	if last := len(steps) - 1; cut && last >= 0 {
		steps[last].Cents, steps[last].SigmaCents = a.drawn(pegSigma, readingSigma)
	}
	return steps
}

func (a *Adviser) copy() *Adviser {
	return &Adviser{Learner: a.clone(), rest: slices.Clone(a.rest), tried: slices.Clone(a.tried), reach: a.reach}
}

// draws is how many passes are drawn: σ is then known to 16 %.
const draws = 20

// drawn returns mean and scatter of what strings read after the pass, over instruments that are as likely as
// any, each tuned as advised with a strum after every move, by a hand whose pegs slip as a Learner believes.
func (a *Adviser) drawn(pegSigma, readingSigma float64) (mean, sigma []float64) {
	p, q, n := a.prior, a.prior.count(), len(a.prior.Strings)
	rng := rand.New(rand.NewPCG(1, 2)) // the same belief has the same forecast
	root := a.root()
	mean, sigma = make([]float64, n), make([]float64, n)
	for range draws {
		z := mat.NewVecDense(q+n, nil)
		for i := range q + n {
			z.SetVec(i, rng.NormFloat64())
		}
		var off mat.VecDense
		off.MulVec(root, z)
		y, cents := make(params, q), make([]float64, n)
		for i := range y {
			y[i] = a.mean[i] + off.AtVec(i)
		}
		for i := range cents {
			cents[i] = a.mean[q+i] + off.AtVec(q+i)
		}
		truth, pass := p.respond(y), a.copy()
		for {
			next, ok := pass.Next()
			if !ok {
				break
			}
			i := next.String
			cents = p.after(truth, cents, i, next.NowCents+math.Hypot(pegSigma, readingSigma)*rng.NormFloat64())
			heard := make([]Reading, n)
			for j := range heard {
				heard[j] = Reading{j, cents[j] + readingSigma*rng.NormFloat64(), readingSigma}
			}
			pass.turn(heard[i], nil)
			pass.read(heard)
			pass.moved(i, false)
			if rng.Float64() < slipOdds {
				cents = p.after(truth, cents, i, cents[i]+slipSD*rng.NormFloat64())
			}
		}
		for i, c := range cents {
			mean[i] += c / draws
			sigma[i] += c * c / draws
		}
	}
	for i := range sigma {
		sigma[i] = math.Sqrt(max(sigma[i]-mean[i]*mean[i], 0) * draws / (draws - 1))
	}
	return mean, sigma
}

// root returns L of L·Lᵀ, the covariance of all that is believed.
func (l *Learner) root() *mat.TriDense {
	c := mat.NewSymDense(len(l.mean), nil)
	c.CopySym(l.cov)
	var chol mat.Cholesky
	for ridge := 0.0; !chol.Factorize(c); ridge = 10*ridge + 1e-12 {
		for i := range l.mean {
			c.SetSym(i, i, c.At(i, i)*(1+ridge))
		}
	}
	var root mat.TriDense
	chol.LTo(&root)
	return &root
}
