package ensemble

import (
	"math"
	"slices"

	"tunerd/internal/stiffstring"
)

// Two strings of which one is tuned to n times the pitch of the other may be taken for each other:
// every n-th partial of the lower one, of inharmonicity B, is one of a string n times as high with
// n²·B. The other partials tell.

// mostMultiple is the highest n that is looked at: two octaves.
const mostMultiple = 4

// multiple returns n if high is tuned to about n times the pitch of low; else 0.
func multiple(low, high *voice) float64 {
	n := math.Round(high.target / low.target)
	if n >= 2 && n <= mostMultiple && math.Abs(high.target/low.target/n-1) <= 0.04 {
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
			if n == 0 || !low.candidate || !high.candidate {
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

// strayWidths is by how many widths of the usual scatter, or of that which the strings show, a low partial must lie off its
// law for its string to be tried exchanged with another.
const strayWidths = 1.5

// upperStrays of the higher partials, each so many widths off, count for the same.
const (
	upperStrays = 2
	upperWidths = 2.5
)

// swapRounds is how often all pairs are looked at, if one was changed.
const swapRounds = 3

// mostTries is how many other ways are tried in one window: few windows need more, and each takes two fits.
const mostTries = 12

// swapFitted tries the same once the strings are fitted, and keeps the fit that leaves the partials nearest to their
// laws. It reports whether that is another one than before. What makes it try:
//   - the upper partials of the lower string are those of the higher one: only every n-th is heard, or every n-th
//     is fitted poorly;
//   - those of the higher string are those of the lower one: its law is every n-th partial of the lower one's;
//   - low partials of the lower string lie off its law: the two are the other way round, or the higher one is where
//     the lower one's partial there was found.
func (r *Reader) swapFitted(from, to int) (swapped bool) {
	for i := range r.voices {
		for j := range r.voices {
			low, high := &r.voices[i], &r.voices[j]
			n := multiple(low, high)
			if n == 0 || !low.candidate {
				continue
			}
			if r.tries >= mostTries {
				return swapped
			}
			if (r.fit.everyNth(i, int(n)) || r.fit.poorNth(i, int(n))) && r.lookBelow(i, j, n) {
				swapped = r.better(from, to, low, high) || swapped
			}
			if !low.candidate || !high.candidate {
				continue
			}
			if alike(low, high, n) && r.lookElsewhere(j) {
				low.stay()
				swapped = r.better(from, to, low, high) || swapped
			}
			found, strays := r.fit.lowStrays(i, int(n), high.b)
			if !strays {
				continue
			}
			lowF1, lowB, highF1, highB := exchanged(low, high, n)
			swapped = r.betterAt(from, to, low, high, lowF1, lowB, highF1, highB) ||
				found > 0 && (r.betterAt(from, to, low, high, low.f1, low.b, found, r.stiffnessAt(j, found)) ||
					r.betterAt(from, to, low, high, low.f1, low.b, found, high.b/(n*n))) || swapped
		}
	}
	return swapped
}

// What shows that of a string only every n-th partial is heard: among those above combFrom at least combLeast of
// either kind, and their median levels combDB apart. A string may lack every n-th partial, by the place of the
// pluck, but not all others.
const (
	combFrom  = 5
	combLeast = 3
	combDB    = 15.0
)

// everyNth reports whether of the upper partials of a voice only every n-th is heard.
func (f *fit) everyNth(voice, n int) bool {
	var levels [2][mostPartials]float64
	var count [2]int
	for _, a := range f.active {
		p := &f.partials[a]
		if p.voice != voice || p.k < combFrom {
			continue
		}
		kind := 0
		if p.k%n == 0 {
			kind = 1
		}
		levels[kind][count[kind]] = norm(p.c)
		count[kind]++
	}
	if count[0] < combLeast || count[1] < combLeast {
		return false
	}
	slices.Sort(levels[0][:count[0]])
	slices.Sort(levels[1][:count[1]])
	return levels[1][count[1]/2] > levels[0][count[0]/2]*math.Pow(10, combDB/10)
}

// What shows that every n-th partial of a string is fitted poorly: most of those up to poorTop, poorLeast at least,
// leave so many times the power that others do, and few of the others.
const (
	poorTop   = 12
	poorLeast = 3
	poorTimes = 30.0
)

// poorNth reports whether of the partials of a voice mainly every n-th is fitted poorly.
func (f *fit) poorNth(voice, n int) bool {
	var poor, count [2]int
	for _, a := range f.active {
		p := &f.partials[a]
		if p.voice != voice || p.k > poorTop {
			continue
		}
		kind := 0
		if p.k%n == 0 {
			kind = 1
		}
		count[kind]++
		if f.clusters[p.cluster].rho > poorTimes*f.white {
			poor[kind]++
		}
	}
	return poor[1] >= poorLeast && 2*poor[1] > count[1] && 3*poor[0] < count[0]
}

// alikeB is by what part the inharmonicity of a string may differ from that of every n-th partial of another for
// their laws to be the same.
const alikeB = 0.2

// alike reports whether the law of high, fitted or as it was found first, is that of every n-th partial of low.
func alike(low, high *voice, n float64) bool {
	f1, b := stiffstring.PartialHz(low.f1, low.b, int(n)), n*n*low.b
	same := func(hz, stiffness float64) bool {
		return math.Abs(stiffstring.Cents(hz, f1)) < searchStep && math.Abs(stiffness-b) < alikeB*b
	}
	return same(high.f1, high.b) || same(high.first, high.firstB)
}

// lookBelow sets where high starts to where the upper partials of low lie, and looks for low anew among the peaks that
// neither high, there, nor another string explains.
func (r *Reader) lookBelow(low, high int, n float64) bool {
	l, h := &r.voices[low], &r.voices[high]
	f1, b := stiffstring.PartialHz(l.f1, l.b, int(n)), l.b*n*n
	if math.Abs(stiffstring.CentsPerNeper*math.Log(f1/h.target)) > searchCents+strayCents {
		return false
	}
	r.explain(low, high, ownPeak)
	for k := 1; k <= h.partials; k++ {
		r.spectrum.explain(stiffstring.PartialHz(f1, b, k), ownPeak)
	}
	if !r.place(low, true) {
		return false
	}
	h.tryF1, h.tryB = f1, b
	h.trySigma, h.trySigmaB = l.firstSigma, n*n*l.firstSigmaB
	return true
}

// lookElsewhere looks for string i among the peaks that no other string explains.
func (r *Reader) lookElsewhere(i int) bool {
	r.explain(i, i, ownPeak)
	return r.place(i, true)
}

// stiffnessAt returns the inharmonicity with which string i, were its partial 1 at hz, would meet the peaks best.
func (r *Reader) stiffnessAt(i int, hz float64) float64 {
	v := &r.voices[i]
	r.claim(i)
	best, b := math.Inf(-1), v.meanOfB
	for _, part := range searchB {
		tryB := part * v.meanOfB
		if v.known {
			tryB = v.meanOfB
		}
		if score := v.score(r.spectrum, hz, tryB); score > best {
			best, b = score, tryB
		}
	}
	return b
}

// betterAt is [Reader.better] with the two started at these places.
func (r *Reader) betterAt(from, to int, low, high *voice, lowF1, lowB, highF1, highB float64) bool {
	low.stay()
	high.stay()
	low.tryF1, low.tryB, high.tryF1, high.tryB = lowF1, lowB, highF1, highB
	return r.better(from, to, low, high)
}

// better fits afresh with low and high started where they are to be tried and reports whether that leaves all
// partials nearer to their laws, or those of the two more like a string's; if not, all is as before. Where the two
// ways are about as likely, either string is as unsure as they differ.
func (r *Reader) better(from, to int, low, high *voice) bool {
	for i := range r.voices {
		r.voices[i].before = r.voices[i].candidate
	}
	r.tries++
	before, oldLow, oldHigh := r.worth(), *low, *high
	low.begin()
	high.begin()
	fitted := r.fitOnce(from, to, false)
	ok := fitted && low.sounds() && high.sounds()
	gain, newLow, newHigh := r.worth()-before, low.f1, high.f1
	ok = ok || fitted && low.sounds() && gain >= surely // whether both sound is settled after that
	if ok && gain > 0 {
		low.hidden, high.hidden = false, false
	} else {
		*low, *high = oldLow, oldHigh
		for i := range r.voices { // a fit that fails leaves none
			r.voices[i].candidate = r.voices[i].before
		}
		r.fitOnce(from, to, false)
	}
	if ok && oldHigh.candidate {
		low.unsure(newLow, oldLow.f1, gain)
		high.unsure(newHigh, oldHigh.f1, gain)
	}
	return ok && gain > 0
}

// stay sets where the voice is to be tried to where it has been fitted.
func (v *voice) stay() {
	v.tryF1, v.tryB, v.trySigma, v.trySigmaB = v.f1, v.b, v.firstSigma, v.firstSigmaB
}

// gainScale is how many units of [Reader.worth] count as one neper of odds between two ways: partials and peaks are
// counted there as if each were independent, which they are not.
const gainScale = 2.0

// unsure takes into account that the string may be at another place: the reading is the mean over both, weighted with
// their odds, so that it does not hang on the last bit which of two equally likely ways is taken. Gain is by how much
// the new place is worth more than the old one.
func (v *voice) unsure(newF1, oldF1, gain float64) {
	apart := stiffstring.CentsPerNeper * math.Log(oldF1/newF1) // from the new place to the old one
	part := 1 / (1 + math.Exp(gain/gainScale))                 // of the old place
	if gain <= 0 {
		apart, part = -apart, 1-part // from the old place, which is kept, to the new one
	} else {
		// What the way before was unsure against is as much less likely as that is.
		v.aside *= part
		v.rival *= math.Sqrt(part)
	}
	if rival := math.Abs(apart) * math.Sqrt(part*(1-part)); rival > v.rival {
		v.rival, v.aside = rival, apart*part
	}
}

// What a fit is worth: see [Reader.worth].
const (
	mostOdds = 12.0 // of one string that count: beyond that it sounds
	peakCost = 3.0  // [nepers] of one of the loudest peaks that no string explains
)

// worth returns how well (nepers) the fit explains what is heard: the odds that its strings sound, less how far
// partials lie off the laws, less the peaks that no partial lies on.
func (r *Reader) worth() float64 {
	sum := -r.fit.misfit()
	for i := range r.voices {
		if v := &r.voices[i]; v.candidate {
			sum += math.Min(v.odds, mostOdds)
		}
	}
	r.explain(-1, -1, ownPeak)
	for i := range r.spectrum.peaks {
		p := &r.spectrum.peaks[i]
		if p.claim != explained && p.hz < r.voices[0].top {
			sum -= peakCost * math.Max(0, 1+(p.db-r.spectrum.loudest)/levelRange)
		}
	}
	return sum
}

// begin makes the voice a candidate that starts where it is to be tried.
func (v *voice) begin() {
	v.candidate = true
	v.first, v.firstB, v.firstSigma, v.firstSigmaB = v.tryF1, v.tryB, v.trySigma, v.trySigmaB
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

// lowStrays reports whether partials of a string lie off its law: one of the lowest or one that is also one of the
// lowest of a string n times as high, or several of the others. It also returns where partial 1 of that other string
// is if the lowest of those is one of its partials; 0 if none is.
func (f *fit) lowStrays(voice, n int, b float64) (found float64, strays bool) {
	lowest, upper := mostPartials, 0
	for _, a := range f.active {
		p := &f.partials[a]
		widths := p.off * p.off / (math.Max(f.scatter.of(p.k), sq(stiffstring.ScatterWidth(p.k))) + p.variance)
		shared := p.k%n == 0 && p.k <= lowPartials
		switch {
		case p.voice != voice || widths <= sq(strayWidths):
		case shared && p.k < lowest:
			strays, lowest = true, p.k
			found = p.hz / stiffstring.PartialHz(1, b, p.k/n)
		case shared || p.k <= mostMultiple:
			strays = true
		case p.k%n != 0 && p.k <= poorTop && widths > sq(upperWidths):
			upper++
		}
	}
	return found, strays || upper >= upperStrays
}
