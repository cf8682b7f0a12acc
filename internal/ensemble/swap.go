package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Two strings of which one is tuned to n times the pitch of the other may be taken for each other:
// every n-th partial of the lower one, of inharmonicity B, is one of a string n times as high with
// n²·B. The other partials tell.

// mostMultiple is the highest n that is looked at: two octaves.
const mostMultiple = 4

// multiple returns n if high is tuned to about n times the pitch of low and both may sound; else 0.
func multiple(low, high *voice) float64 {
	n := math.Round(high.target / low.target)
	if low.candidate && high.candidate && n >= 2 && n <= mostMultiple && math.Abs(high.target/low.target/n-1) <= 0.04 {
		return n
	}
	return 0
}

// exchanged returns the pitches and inharmonicities of low and high, n apart, the other way round.
func exchanged(low, high *voice, n float64) (lowF1, lowB, highF1, highB float64) {
	return high.f1 / n, high.b / (n * n), low.f1 * n, low.b * n * n
}

// swap tries, by the peaks of the spectrum, whether two strings have been taken for each other.
func (r *Reader) swap() {
	for i := range r.voices {
		for j := range r.voices {
			low, high := &r.voices[i], &r.voices[j]
			n := multiple(low, high)
			if n == 0 {
				continue
			}
			before := r.score()
			oldLow, oldHigh := *low, *high
			low.f1, low.b, high.f1, high.b = exchanged(low, high, n)
			if r.score() < before {
				*low, *high = oldLow, oldHigh
				continue
			}
			r.claim(i)
			low.polish(r.spectrum)
			r.claim(j)
			high.polish(r.spectrum)
		}
	}
}

// strayWidths is by how many widths of the scatter that the strings show a low partial must lie off its
// law for its string to be tried exchanged with another.
const strayWidths = 1.5

// swapFitted tries the same once the strings are fitted, where low partials of the lower one lie off
// its law: both the other way round, or the higher one where the lower one's partial there was found. It keeps
// the fit that leaves the partials nearest to their laws.
func (r *Reader) swapFitted(from, to int, carry bool) {
	for i := range r.voices {
		for j := range r.voices {
			low, high := &r.voices[i], &r.voices[j]
			n := multiple(low, high)
			if n == 0 {
				continue
			}
			found, strays := r.fit.lowStrays(i, int(n))
			if !strays {
				continue
			}
			lowF1, lowB, highF1, highB := exchanged(low, high, n)
			_ = r.better(from, to, carry, low, high, lowF1, lowB, highF1, highB) ||
				found > 0 && (r.better(from, to, carry, low, high, low.f1, low.b, found, high.meanOfB) ||
					r.better(from, to, carry, low, high, low.f1, low.b, found, high.b/(n*n)))
		}
	}
}

// better fits afresh with low and high started elsewhere and reports whether that leaves all partials
// nearer to their laws, or those of the two more like a string's; if not, all is as before. Where the two
// ways are about as likely, either string is as unsure as they differ.
func (r *Reader) better(from, to int, carry bool, low, high *voice, lowF1, lowB, highF1, highB float64) bool {
	worth := func() float64 { return low.odds + high.odds - r.fit.misfit() }
	before, oldLow, oldHigh := worth(), *low, *high
	low.first, low.firstB, high.first, high.firstB = lowF1, lowB, highF1, highB
	ok := r.fitOnce(from, to, carry) && low.sounds() && high.sounds()
	gain, newLow, newHigh := worth()-before, low.f1, high.f1
	if !ok || gain <= 0 {
		low.first, low.firstB, high.first, high.firstB = oldLow.first, oldLow.firstB, oldHigh.first, oldHigh.firstB
		low.candidate, high.candidate = true, true
		r.fitOnce(from, to, carry)
	}
	if ok && math.Abs(gain) < surely {
		low.rival = math.Max(low.rival, math.Abs(stiffstring.CentsPerNeper*math.Log(newLow/oldLow.f1)))
		high.rival = math.Max(high.rival, math.Abs(stiffstring.CentsPerNeper*math.Log(newHigh/oldHigh.f1)))
	}
	return ok && gain > 0
}

// misfitOf returns how unlikely (nepers) the distance of a partial from its law is, on a scale that
// grows with the logarithm of the distance only, as some partials of real strings lie far off.
func misfitOf(p *partial) float64 { return math.Log1p(sq(p.off / stiffstring.ScatterWidth(p.k))) }

// misfit returns the misfit of all partials that are heard.
func (f *fit) misfit() float64 {
	sum := 0.0
	for _, a := range f.active {
		if p := &f.partials[a]; p.heard {
			sum += misfitOf(p)
		}
	}
	return sum
}

// lowStrays reports whether one of the lowest partials of a string is heard off its law, and where
// partial n was found; 0 if it was not.
func (f *fit) lowStrays(voice, n int) (found float64, strays bool) {
	for _, a := range f.active {
		p := &f.partials[a]
		if p.voice != voice || p.k > mostMultiple || !p.heard {
			continue
		}
		strays = strays || p.off*p.off > sq(strayWidths)*(f.scatter.of(p.k)+p.variance)
		if p.k == n {
			found = p.hz
		}
	}
	return found, strays
}
