package clock

import (
	"math"
	"slices"
)

// Of fitLine:
const (
	groups      = 10  // stretches of time over which deviations may hang together
	huberLimit  = 1.5 // standard deviations from which on a point loses weight
	refits      = 8   // of the robust fit; it settles in fewer
	madToSigma  = 1.4826
	studentOver = 2.306 / 1.96 // 97.5 % of Student's t with groups − 2 degrees of freedom, over the normal's
	wanderChi2  = 27.88        // 99.9 % of χ² with groups − 1 degrees of freedom
)

// A line is y = Offset + Slope·x.
type line struct {
	Offset, Slope float64
	Sigma         float64 // standard uncertainty of Slope
	RMS           float64 // of what is left, in the unit of y, weighted
}

// fitLine fits a line to points in the order of x with weights w, which are proportional to the
// inverse variance of y. There must be at least 3·groups points.
//
// The fit is robust: points that lie far off lose weight (Huber, Robust Estimation of a Location
// Parameter, Ann. Math. Stat. 35, 1964, by iterated weights).
//
// Sigma comes from what is left. One figure takes the deviations for independent, as those of white
// noise are. Another lets them hang together within each tenth of the points, in any way (the
// cluster-robust variance of Liang and Zeger, Longitudinal data analysis using generalized linear
// models, Biometrika 73, 1986), with Student's factor for so few groups: it sees the beat of block
// lengths. The larger counts. If the slopes of the tenths differ by more than that explains, the
// rate itself has wandered, and its scatter comes on top (as in DerSimonian and Laird,
// Meta-analysis in clinical trials, Controlled Clinical Trials 7, 1986).
func fitLine(x, y, w []float64) line {
	robust := slices.Clone(w)
	l := leastSquares(x, y, robust)
	dev := make([]float64, len(x))
	for range refits {
		for i := range x {
			dev[i] = math.Abs(y[i]-l.Offset-l.Slope*x[i]) * math.Sqrt(w[i])
		}
		scale := madToSigma * median(dev)
		if scale == 0 {
			break
		}
		for i := range x {
			robust[i] = w[i] * math.Min(1, huberLimit*scale/dev[i])
		}
		l = leastSquares(x, y, robust)
	}
	independent := independentSigma(l, x, y, robust)
	l.Sigma = math.Max(independent, groupedSigma(l, x, y, robust))
	l.Sigma = math.Hypot(l.Sigma, wanderSigma(independent, x, y, robust))
	return l
}

// leastSquares returns the weighted line and the weighted RMS of what is left.
func leastSquares(x, y, w []float64) line {
	mx, my := mean(x, w), mean(y, w)
	sxx, sxy := 0.0, 0.0
	for i := range x {
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
	}
	l := line{Slope: sxy / sxx}
	l.Offset = my - l.Slope*mx
	see, sw := 0.0, 0.0
	for i := range x {
		e := y[i] - l.Offset - l.Slope*x[i]
		see += w[i] * e * e
		sw += w[i]
	}
	l.RMS = math.Sqrt(see / sw)
	return l
}

// independentSigma is the uncertainty of the slope if no deviation knows of another.
func independentSigma(l line, x, y, w []float64) float64 {
	mx := mean(x, w)
	sxx, see, n := 0.0, 0.0, float64(len(x))
	for i := range x {
		e := y[i] - l.Offset - l.Slope*x[i]
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		see += w[i] * e * e
	}
	return math.Sqrt(see / (n - 2) / sxx)
}

// groupedSigma is the uncertainty of the slope if deviations hang together within groups.
func groupedSigma(l line, x, y, w []float64) float64 {
	mx := mean(x, w)
	sxx, meat := 0.0, 0.0
	for g := range groups {
		from, to := group(g, len(x))
		score := 0.0
		for i := from; i < to; i++ {
			sxx += w[i] * (x[i] - mx) * (x[i] - mx)
			score += w[i] * (x[i] - mx) * (y[i] - l.Offset - l.Slope*x[i])
		}
		meat += score * score
	}
	const few = float64(groups) / (groups - 2) // two parameters are fitted
	return studentOver * math.Sqrt(few*meat) / sxx
}

// group returns the bounds of tenth g of n points.
func group(g, n int) (from, to int) { return g * n / groups, (g + 1) * n / groups }

// wanderSigma is the part of the slope's uncertainty that is due to a slope that changes from tenth
// to tenth; 0 if it does not certainly do so. The slope of the whole has the uncertainty
// independent without that.
func wanderSigma(independent float64, x, y, w []float64) float64 {
	if independent == 0 {
		return 0
	}
	spread := func(x, w []float64) (sxx float64) {
		m := mean(x, w)
		for i := range x {
			sxx += w[i] * (x[i] - m) * (x[i] - m)
		}
		return sxx
	}
	whole := spread(x, w)
	slopes, weights := make([]float64, groups), make([]float64, groups)
	sum, squares := 0.0, 0.0
	for g := range groups {
		from, to := group(g, len(x))
		slopes[g] = leastSquares(x[from:to], y[from:to], w[from:to]).Slope
		weights[g] = spread(x[from:to], w[from:to]) / whole / (independent * independent)
		sum += weights[g]
		squares += weights[g] * weights[g]
	}
	middle, chi2 := mean(slopes, weights), 0.0
	for g := range groups {
		chi2 += weights[g] * (slopes[g] - middle) * (slopes[g] - middle)
	}
	if chi2 <= wanderChi2 {
		return 0
	}
	variance := (chi2 - (groups - 1)) / (sum - squares/sum) // of the slope from tenth to tenth
	// A line through all points weighs the slopes along it by a parabola, whose squares sum to 6/5
	// of those of equal weights.
	return studentOver * math.Sqrt(1.2*variance/groups)
}

func mean(x, w []float64) float64 {
	sum, sw := 0.0, 0.0
	for i := range x {
		sum += w[i] * x[i]
		sw += w[i]
	}
	return sum / sw
}

func median(x []float64) float64 { return quantile(x, 0.5) }

// quantile returns the value that a part q of x lies below.
func quantile(x []float64, q float64) float64 {
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	return sorted[int(q*float64(len(sorted)-1))]
}
