package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Reserve makes a bank for windows of n samples in sub-blocks of m.
func (f *Fitter) Reserve(m, n int) {
	if f.Bank == nil || f.Bank.M != m || len(f.Bank.energy) < n/m {
		f.Bank = newBank(m, MaxPartials, n/m)
	}
}

// TrustedSNR is how far (dB) what a fit explains must stand above the rest of the sound for its pitch to be
// taken without a look at another explanation. Tuned on the recordings in testdata/wav.
const TrustedSNR = 10

// firstPartials is how many partials are enough for a live fit to find the pitch to within what the next,
// longer window needs.
const firstPartials = 12

// Load demodulates x, whose first sample has index at, for the note k. A short first fit sets the
// frequencies of the bank; it reports whether that succeeded.
func (f *Fitter) Load(x []float64, at int64, k Start) bool {
	m := f.Bank.M
	n := min(len(x)/m, int(k.reach()*f.SampleRate/float64(m)))
	if n < 6 {
		return false
	}
	if f.Live {
		k.most = firstPartials
	}
	f.Tune(k.F1Hz, k.B, at)
	f.Push(x[:n*m])
	ok, explained := f.Follow(0, n, k, Steady, 0, 1), 0.0
	if ok {
		explained = 1 - f.unexplained()
	}
	climbed := false
	if explained < 1-climbLeft {
		if higher, length, found := f.climb(x, at, k, explained); found {
			k, n, climbed = higher, length, true
		} else if ok {
			f.Tune(k.F1Hz, k.B, at)
			f.Push(x[:n*m])
			ok = f.Follow(0, n, k, Steady, 0, 1)
		}
	}
	if !ok && !climbed {
		return false
	}
	// The second and third partial tell B well enough to look for higher ones.
	for try := 0; try < 2 && !climbed && f.missesPartials(2+try); try++ {
		k.F1Hz, k.SigmaCents = f.joint.f1, 2*f.joint.sigma
		if len(f.joint.active) > 1 {
			k.B, k.SigmaB = f.joint.b, min(k.SigmaB, f.joint.sigmaB)
		}
		k = f.stiffen(x[:n*m], k)
		f.Tune(k.F1Hz, k.B, at)
		f.Push(x[:n*m])
		if !f.Follow(0, n, k, Steady, 0, 1) {
			return false
		}
	}
	f.Start = f.Learned(k.Prior)
	f.startLength = n
	f.Tune(f.joint.f1, f.joint.b, at)
	f.Push(x)
	return true
}

// missesPartials reports whether the fit has found a place for no more than the given number of partials, although
// there are others.
func (f *Fitter) missesPartials(most int) bool {
	j := &f.joint
	n := len(j.active)
	return n <= most && n < len(f.Bank.Omega) && stiffstring.PartialHz(j.f1, j.b, max(2, n)) < 0.45*f.SampleRate
}

// Push fills the bank with the whole sub-blocks of x.
func (f *Fitter) Push(x []float64) {
	for m := f.Bank.M; len(x) >= m && !f.Bank.full(); x = x[m:] {
		f.Bank.push(x)
	}
}

// FitWhole reads the pitch of the sub-blocks [from, to) of the bank into r, beginning with what load
// learned and lengthening the window step by step. Where one fit to all of it explains the sound
// badly (vibrato, a wavering bow), the pitch is read frame by frame instead. It reports false
// when nothing with a pitch was found.
func (f *Fitter) FitWhole(from, to int, m Motion, onset float64, r *Result) bool {
	begin := f.Start
	ok := f.FitGrowing(from, to, begin, m, onset)
	if ok {
		f.Read(r)
		if r.SNRdB > TrustedSNR && f.near(begin) {
			return true
		}
	}
	return f.FitFrames(from, to, begin, ok && f.near(begin) && f.Accept(r), r)
}

// FitFrames reads the pitch of the sub-blocks [from, to) frame by frame, in the longest frames that explain the
// sound, into r; not if r, which a fit to all of it gave, is a note (ok) that explains it as well. It reports
// whether r is one.
func (f *Fitter) FitFrames(from, to int, begin Start, ok bool, r *Result) bool {
	for _, seconds := range frameLengths {
		if seconds < frameS && float64((to-from)*f.Bank.M) < longestSwingS*f.SampleRate {
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
		if f.Live {
			break // shorter ones would take long
		}
	}
	return ok
}

// RefitFromLast is FitWhole for a window much like that of the last fit, which it begins from: one fit
// instead of a course of them, as long as that stays with the note.
func (f *Fitter) RefitFromLast(from, to int, m Motion, onset float64, r *Result) bool {
	parts := r.Partials
	passes := 1
	if seconds := float64((to-from)*f.Bank.M) / f.SampleRate; m == Settles && seconds > shownGlideS {
		passes = 2 // before, a glide says too little to be worth it
	}
	k := f.Learned(f.Start.Prior)
	left := f.unexplained()
	k.resume = f.Live && left < 0.1 && f.trajectory.misfit < calm && float64((to-from)*f.Bank.M) > resumeS*f.SampleRate
	ok := f.Follow(from, to, k, m, onset, passes)
	if k.resume && ok && (f.unexplained() > 4*left+0.01 || f.trajectory.misfit > calm) {
		k = f.Learned(f.Start.Prior)
		ok = f.Follow(from, to, k, m, onset, passes)
	}
	if ok && f.near(f.Start) {
		f.Read(r)
		if f.Accept(r) {
			return true
		}
	}
	r.Partials = parts
	return f.FitWhole(from, to, m, onset, r)
}

// shownGlideS is the shortest window (s) in which a glide says so much that a second fit is worth it.
const shownGlideS = 0.1

// resumeS is the shortest window (s) that resumes the last fit: a first moment says little of the next.
const resumeS = 0.05

// calm is the mean square of what all partials together lead by that no movement explains, in units of the
// noise, up to which phases can be carried on into a longer window.
const calm = 4

// unexplained returns the part of the window's energy that the last fit leaves.
func (f *Fitter) unexplained() float64 { return max(0, 1-f.joint.signal/f.series.energy) }

// GuessLimit is how far (cents) from a first guess a reading may be.
const GuessLimit = 80.0

// near reports whether the fit has stayed with the note that it began from.
func (f *Fitter) near(k Start) bool { return math.Abs(stiffstring.Cents(f.Hz, k.F1Hz)) < GuessLimit }

// FitGrowing fits ever longer windows that begin at from, up to to.
func (f *Fitter) FitGrowing(from, to int, k Start, m Motion, onset float64) bool {
	f.planned = warp{}
	prior := k.Prior
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
		move := Steady
		if n == to-from || m == Settles {
			move = m
		}
		if k.most = 0; n < to-from && f.Live {
			k.most = firstPartials
		}
		if !f.Follow(from, from+n, k, move, onset, 4) {
			return false
		}
		if n == to-from {
			return true
		}
		k = f.Learned(prior)
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
func (f *Fitter) frames(from, to int, seconds float64, k Start, r *Result) bool {
	perS := f.SampleRate / float64(f.Bank.M)
	n := int(max(6/k.F1Hz, seconds) * perS)
	count := (to - from) / n
	if count < 3 {
		return false
	}
	var t, c, w []float64
	var snr float64
	var bs mean
	one := Result{At: r.At}
	middle := k.F1Hz
	for i := range count {
		one.Partials = one.Partials[:0]
		if !f.frame(from+i*n, n, k, &one) || math.Abs(stiffstring.Cents(f.Hz, middle)) > 150 {
			k.F1Hz = middle
			continue
		}
		at := (float64(i) - float64(count-1)/2) * float64(n) / perS
		t, c = append(t, at), append(c, stiffstring.Cents(f.Hz, middle))
		w = append(w, 1/(square(f.Variance.SigmaCents())+1))
		if seconds < frameS {
			k.F1Hz = f.Hz // a swing goes on from there
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
	r.MoveTo(middle * math.Exp(l.offset/stiffstring.CentsPerNeper))
	r.Decide(Variance{Vibrato: l.offsetVar * max(1, l.chi2/float64(len(t)-2)*l.lasting(t, c))})
	r.B, r.BSigma = bs.value() // what a pitch that slides does to one frame, it does to many
	r.SNRdB = snr / float64(len(t))
	r.WindowS = float64(count*n) / perS
	f.Hz, f.Variance = r.F1Hz, r.Variance
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
func (f *Fitter) frame(from, n int, k Start, r *Result) bool {
	k.SigmaCents, k.SigmaB, k.carry = 25, k.Prior.Sigma, false
	k.B = max(0, k.B)
	if !f.Follow(from, from+n, k, Steady, 0, 1) || math.Abs(stiffstring.Cents(f.Hz, k.F1Hz)) > 150 {
		return false
	}
	f.Read(r)
	return r.SNRdB > 3
}
