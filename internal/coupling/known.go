package coupling

import (
	"fmt"
	"math"
)

// Known is what was learned of an instrument, as it is kept between two sessions.
type Known struct {
	Support    Support     `json:"support"`
	Strings    int         `json:"strings"`
	Sessions   int         `json:"sessions"`   // that it was learned in
	Mean       []float64   `json:"mean"`       // ln of the weights of the modes (mm/N), of stiffness and of levers against the prior
	Covariance [][]float64 `json:"covariance"` // of mean
}

// Known returns what has been learned, to be kept; before is what was known when the session began (nil:
// nothing).
func (l *Learner) Known(before *Known) *Known {
	q := l.prior.count()
	k := &Known{Support: l.prior.Support, Strings: len(l.prior.Strings), Sessions: 1, Mean: append([]float64(nil), l.mean[:q]...)}
	if before != nil {
		k.Sessions += before.Sessions
	}
	for i := range q {
		row := make([]float64, q)
		for j := range row {
			row[j] = l.cov.At(i, j)
		}
		k.Covariance = append(k.Covariance, row)
	}
	return k
}

// fits refuses what is of another instrument, or damaged.
func (k *Known) fits(p *Prior) error {
	q := p.count()
	switch {
	case k.Support != p.Support:
		return fmt.Errorf("what is known was learned with the support %s, not %s", k.Support, p.Support)
	case k.Strings != len(p.Strings):
		return fmt.Errorf("what is known was learned of %d strings, not %d", k.Strings, len(p.Strings))
	case len(k.Mean) != q || len(k.Covariance) != q:
		return fmt.Errorf("what is known has %d values and %d rows of covariance, not %d", len(k.Mean), len(k.Covariance), q)
	}
	for i, row := range k.Covariance {
		if len(row) != q {
			return fmt.Errorf("row %d of the covariance has %d values, not %d", i+1, len(row), q)
		}
		if !(math.Abs(k.Mean[i]) < 50) || !(row[i] > 0) {
			return fmt.Errorf("value %d of what is known, %g with the variance %g, is not possible", i+1, k.Mean[i], row[i])
		}
		for j, v := range row {
			if !(math.Abs(v-k.Covariance[j][i]) <= 1e-9*(1+math.Abs(v))) || v*v > row[i]*k.Covariance[j][j]*(1+1e-9) {
				return fmt.Errorf("the covariance of values %d and %d is not possible", i+1, j+1)
			}
		}
	}
	return nil
}
