package stringfit

// A line is a weighted least-squares fit y ≈ a + b·t + Σ d_i·g_i(t).
type line struct {
	offset, slope float64
	extra         [2]float64 // d
	offsetVar     float64    // of offset, in units of the weights
	slopeVar      float64    // of slope
	extraVar      [2]float64
	chi2          float64 // weighted sum of squared residuals
	used          int
}

// fitLine fits y over t with inverse variances w; g holds at most two further functions.
func fitLine(t, y, w []float64, g [][]float64) (out line, ok bool) {
	size := 2 + len(g)
	var a [16]float64
	var b, row [4]float64
	for i, v := range w {
		if v <= 0 {
			continue
		}
		out.used++
		r := lineBasis(&row, t, g, i)
		for p, rp := range r {
			b[p] += v * rp * y[i]
			for q := range p + 1 {
				a[p*size+q] += v * rp * r[q]
			}
		}
	}
	if out.used < size || !(a[0] > 0) {
		return out, false
	}
	l, x := a[:size*size], b[:size]
	factorReal(l, size)
	forwardReal(l, size, x)
	backwardReal(l, size, x)
	out.offset, out.slope = x[0], x[1]
	out.offsetVar, out.slopeVar = inverseEntry(l, size, 0), inverseEntry(l, size, 1)
	for m := range g {
		out.extra[m], out.extraVar[m] = x[2+m], inverseEntry(l, size, 2+m)
	}
	for i, v := range w {
		if v > 0 {
			e := y[i]
			for p, rp := range lineBasis(&row, t, g, i) {
				e -= rp * x[p]
			}
			out.chi2 += v * e * e
		}
	}
	return out, true
}

// lineBasis fills row with 1, t and the functions g at value i and returns what is filled.
func lineBasis(row *[4]float64, t []float64, g [][]float64, i int) []float64 {
	row[0], row[1] = 1, t[i]
	for m := range g {
		row[2+m] = g[m][i]
	}
	return row[:2+len(g)]
}
