package pitch

import (
	"math"

	"tunerd/internal/stiffstring"
)

// room makes a bank for windows of n samples in sub-blocks of m.
func (f *fitter) room(m, n int) {
	if f.bank == nil || f.bank.m != m || len(f.bank.energy) < n/m {
		f.bank = newBank(m, maxPartials, n/m)
	}
}

// trustedFit is how far (dB) what a fit explains must stand above the rest of the sound for its pitch to be
// taken without a look at another explanation. Tuned on the recordings in testdata/wav.
const trustedFit = 10

// firstPartials is how many partials are enough for a live fit to find the pitch to within what the next,
// longer window needs.
const firstPartials = 12

// load demodulates x, whose first sample has index at, for the note k. A short first fit sets the
// frequencies of the bank; it reports whether that succeeded.
func (f *fitter) load(x []float64, at int64, k known) bool {
	m := f.bank.m
	n := min(len(x)/m, int(k.reach()*f.fs/float64(m)))
	if n < 6 {
		return false
	}
	if f.live {
		k.most = firstPartials
	}
	f.tune(k.f1, k.b, at)
	f.pushAll(x[:n*m])
	if !f.follow(0, n, k, still, 0, 1) {
		return false
	}
	// The second and third partial tell B well enough to look for higher ones.
	for try := 0; try < 2 && f.alone(2+try); try++ {
		k.f1, k.sigmaCents = f.joint.f1, 2*f.joint.sigma
		if len(f.joint.active) > 1 {
			k.b, k.sigmaB = f.joint.b, min(k.sigmaB, f.joint.sigmaB)
		}
		k = f.stiffen(x[:n*m], k)
		f.tune(k.f1, k.b, at)
		f.pushAll(x[:n*m])
		if !f.follow(0, n, k, still, 0, 1) {
			return false
		}
	}
	f.start = f.learned(k.prior)
	f.startLength = n
	f.tune(f.joint.f1, f.joint.b, at)
	f.pushAll(x)
	return true
}

// alone reports whether the fit has found a place for no more than the given number of partials, although
// there are others.
func (f *fitter) alone(most int) bool {
	j := &f.joint
	n := len(j.active)
	return n <= most && n < len(f.bank.omega) && stiffstring.PartialHz(j.f1, j.b, max(2, n)) < 0.45*f.fs
}

// pushAll fills the bank with the whole sub-blocks of x.
func (f *fitter) pushAll(x []float64) {
	for m := f.bank.m; len(x) >= m && !f.bank.full(); x = x[m:] {
		f.bank.push(x)
	}
}

// whole reads the pitch of the sub-blocks [from, to) of the bank into r, beginning with what load
// learned and lengthening the window step by step. Where one fit to all of it explains the sound
// badly (vibrato, a wavering bow), the pitch is read frame by frame instead. It reports false
// when nothing with a pitch was found.
func (f *fitter) whole(from, to int, m motion, onset float64, r *Result) bool {
	begin := f.start
	ok := f.lengthen(from, to, begin, m, onset)
	if ok {
		f.read(r)
		if r.SNRdB > trustedFit && f.near(begin) {
			return true
		}
	}
	return f.framed(from, to, begin, ok && f.near(begin) && f.accept(r), r)
}

// framed reads the pitch of the sub-blocks [from, to) frame by frame, in the longest frames that explain the
// sound, into r; not if r, which a fit to all of it gave, is a note (ok) that explains it as well. It reports
// whether r is one.
func (f *fitter) framed(from, to int, begin known, ok bool, r *Result) bool {
	for _, seconds := range frameLengths {
		if seconds < frameS && float64((to-from)*f.bank.m) < longestSwingS*f.fs {
			break
		}
		framed := Result{At: r.At}
		if !f.frames(from, to, seconds, begin, &framed) {
			continue
		}
		if !ok || framed.SNRdB > r.SNRdB+3 {
			framed.Partials = append(r.Partials[:0], framed.Partials...)
			*r, ok = framed, true
		}
		if f.live {
			break // shorter ones would take long
		}
	}
	return ok
}

// again is whole for a window much like that of the last fit, which it begins from: one fit
// instead of a course of them, as long as that stays with the note.
func (f *fitter) again(from, to int, m motion, onset float64, r *Result) bool {
	parts := r.Partials
	passes := 1
	if seconds := float64((to-from)*f.bank.m) / f.fs; m == settles && seconds > youngS {
		passes = 2 // before, a glide says too little to be worth it
	}
	k := f.learned(f.start.prior)
	left := f.unexplained()
	k.resume = f.live && left < 0.1 && f.shown.misfit < calm && float64((to-from)*f.bank.m) > resumeS*f.fs
	ok := f.follow(from, to, k, m, onset, passes)
	if k.resume && ok && (f.unexplained() > 4*left+0.01 || f.shown.misfit > calm) {
		k = f.learned(f.start.prior)
		ok = f.follow(from, to, k, m, onset, passes)
	}
	if ok && f.near(f.start) {
		f.read(r)
		if f.accept(r) {
			return true
		}
	}
	r.Partials = parts
	return f.whole(from, to, m, onset, r)
}

// resumeS is the shortest window (s) that resumes the last fit: a first moment says little of the next.
const resumeS = 0.05

// calm is the mean square of what all partials together lead by that no movement explains, in units of the
// noise, up to which phases can be carried on into a longer window.
const calm = 4

// unexplained returns the part of the window's energy that the last fit leaves.
func (f *fitter) unexplained() float64 { return max(0, 1-f.joint.signal/f.series.energy) }

// near reports whether the fit has stayed with the note that it began from.
func (f *fitter) near(k known) bool { return math.Abs(stiffstring.Cents(f.hz, k.f1)) < guessLimit }

// lengthen fits ever longer windows that begin at from, up to to.
func (f *fitter) lengthen(from, to int, k known, m motion, onset float64) bool {
	f.planned = warp{}
	prior := k.prior
	n := max(6, min(f.startLength, to-from))
	for {
		n = min(2*n, to-from)
		if 3*n > 2*(to-from) {
			n = to - from
		}
		if n < 6 {
			return false
		}
		// A glide found early helps the longer windows; a drift would be carried on too far.
		move := still
		if n == to-from || m == settles {
			move = m
		}
		if k.most = 0; n < to-from && f.live {
			k.most = firstPartials
		}
		if !f.follow(from, from+n, k, move, onset, 4) {
			return false
		}
		if n == to-from {
			return true
		}
		k = f.learned(prior)
	}
}

// Lengths of frames, in seconds: of a wavering pitch, and of ones that swing several times a second, which
// take a window of longestSwingS to have a mean.
var frameLengths = [...]float64{frameS, 0.045, 0.02}

const (
	frameS        = 0.09
	longestSwingS = 0.5
)

// frames reads the pitch of the sub-blocks [from, to) as the course of the pitches of short
// frames, of so many seconds: a straight line through them, at the middle of the window. It fills r, with partials
// from the frame that shows the most of them, and reports whether at least three frames, and half of them,
// had a pitch. σ comes from how the frames scatter about the line.
func (f *fitter) frames(from, to int, seconds float64, k known, r *Result) bool {
	perS := f.fs / float64(f.bank.m)
	n := int(max(6/k.f1, seconds) * perS)
	count := (to - from) / n
	if count < 3 {
		return false
	}
	var t, c, w []float64
	var snr float64
	var bs mean
	one := Result{At: r.At}
	middle := k.f1
	for i := range count {
		one.Partials = one.Partials[:0]
		if !f.frame(from+i*n, n, k, &one) || math.Abs(stiffstring.Cents(f.hz, middle)) > 150 {
			k.f1 = middle
			continue
		}
		at := (float64(i) - float64(count-1)/2) * float64(n) / perS
		t, c = append(t, at), append(c, stiffstring.Cents(f.hz, middle))
		w = append(w, 1/(f.sigma*f.sigma+1))
		if seconds < frameS {
			k.f1 = f.hz // a swing goes on from there
		}
		snr += one.SNRdB
		bs.add(one.B, one.BSigma)
		if len(one.Partials) > len(r.Partials) {
			r.F1Hz, r.Partial1Hz, r.Odds = one.F1Hz, one.Partial1Hz, one.Odds
			r.Partials = append(r.Partials[:0], one.Partials...)
		}
	}
	if len(t) < 3 || 2*len(t) < count {
		return false
	}
	l, ok := fitLine(t, c, w, nil)
	if !ok {
		return false
	}
	r.shift(middle * math.Exp(l.offset/stiffstring.CentsPerNeper))
	r.SigmaCents = math.Sqrt(l.offsetVar * max(1, l.chi2/float64(len(t)-2)*l.lasting(t, c)))
	r.B, r.BSigma = bs.value() // what a pitch that slides does to one frame, it does to many
	r.SNRdB = snr / float64(len(t))
	r.WindowS = float64(count*n) / perS
	f.hz, f.sigma = r.F1Hz, r.SigmaCents
	return true
}

// A mean is that of values weighed by their standard uncertainties.
type mean struct{ n, w, wy, wyy float64 }

func (m *mean) add(y, sigma float64) {
	v := 1 / (sigma*sigma + 1e-30)
	m.n++
	m.w += v
	m.wy += v * y
	m.wyy += v * y * y
}

// value returns the mean and how far one of the values is expected from it.
func (m *mean) value() (y, sigma float64) {
	y = m.wy / m.w
	chi2 := m.wyy - m.w*y*y
	return y, math.Sqrt(max(1, chi2/max(1, m.n-1)) * m.n / m.w)
}

// lasting returns how many of the values y, next to each other, stray from the line as one: what a swing takes
// off one frame it takes off the next, too.
func (l *line) lasting(t, y []float64) float64 {
	at := func(i int) float64 { return y[i] - l.offset - l.slope*t[i] }
	var square float64
	for i := range y {
		square += at(i) * at(i)
	}
	frames := 1.0
	for lag := 1; lag < len(y)/2 && square > 0; lag++ {
		var product float64
		for i := range len(y) - lag {
			product += at(i) * at(i+lag)
		}
		if product <= 0 {
			break
		}
		frames += 2 * product / square
	}
	return frames
}

// frame fits n sub-blocks as a steady note near k and reads the result.
func (f *fitter) frame(from, n int, k known, r *Result) bool {
	k.sigmaCents, k.sigmaB, k.carry = 25, k.prior.Sigma, false
	k.b = max(0, k.b)
	if !f.follow(from, from+n, k, still, 0, 1) || math.Abs(stiffstring.Cents(f.hz, k.f1)) > 150 {
		return false
	}
	f.read(r)
	return r.SNRdB > 3
}
