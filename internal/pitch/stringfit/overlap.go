package stringfit

// stepOverlapping solves for the free deviations of all partials at once, leakage between them included. A partial
// without amplitude yet first gets one, with all rates held.
func (j *joint) stepOverlapping() {
	m, b, q := &j.model, &j.basis, &j.equations
	q.project(m, b, &j.rest, j.white)
	q.factor(b)
	if m.fresh(b.part) {
		q.startAmplitudes(m, b)
		j.rest.stale = true
		q.project(m, b, &j.rest, j.white)
		q.factor(b)
	}
	explained := q.explained(m, b)
	before := append(q.column[:0], q.rhs...)
	q.solve(b)
	for i, v := range before {
		explained += real(conj(v)*q.rhs[i]) * float64(b.window.length)
	}
	q.column = before
	j.setNoise(explained)
	q.invert(b)
	j.law.take(m, b, q, false)
}

// finalOverlapping solves once more, with the noise found around each partial.
func (j *joint) finalOverlapping() {
	m, b, q := &j.model, &j.basis, &j.equations
	q.project(m, b, &j.rest, j.white)
	j.signal = q.explained(m, b)
	q.factor(b)
	q.solve(b)
	q.invert(b)
	j.law.take(m, b, q, false)
}
