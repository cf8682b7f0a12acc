package coupling

import (
	"math"
)

// Cents that a hand and an ear are taken to scatter by in a forecast. Common practice, no source: the hand's is
// that of a good geared peg, the ear's that of a short reading of this program.
const (
	UsualPegSigma     = 0.3
	UsualReadingSigma = 0.2
)

// A Pass is what to turn in which order, and what comes of it.
type Pass struct {
	Steps []Step
	Cents []float64 // forecast of every string after it
	Sigma []float64
	Short bool // the limits of tension cut moves short: it takes another pass
}

// WidePassCents is the ±1.96σ above which a forecast does not promise that one pass is enough.
const WidePassCents = InTuneCents

// PassFrom returns the pass from what strings sound at, with σ, for an instrument of which so much is known
// (nil: nothing).
func PassFrom(p *Prior, known *Known, now []Reading) (*Pass, error) {
	l, err := NewLearner(p, known)
	if err != nil {
		return nil, err
	}
	if err := l.Heard(now...); err != nil {
		return nil, err
	}
	return l.Pass(), nil
}

// Pass returns the pass from what is believed now.
func (l *Learner) Pass() *Pass { return NewAdviser(l).left() }

// left returns what is left of the pass.
func (a *Adviser) left() *Pass {
	out := &Pass{Steps: a.Forecast(UsualPegSigma, UsualReadingSigma)}
	out.Cents, out.Sigma = a.Cents()
	for _, s := range out.Steps {
		out.Cents, out.Sigma = s.Cents, s.SigmaCents
		out.Short = out.Short || s.Part < 1
	}
	return out
}

// Unsure returns the strings, from 1, of which the forecast does not say that they are in tune after the pass.
func (p *Pass) Unsure() []int {
	var all []int
	for i, c := range p.Cents {
		if math.Abs(c)+1.96*p.Sigma[i] > WidePassCents {
			all = append(all, i+1)
		}
	}
	return all
}

// Hz returns what a string with this target is to sound at now.
func (a Advice) Hz(targetHz float64) float64 { return targetHz * math.Exp2(a.NowCents/1200) }
