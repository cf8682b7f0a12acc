package stringfit

// Reserve makes a bank for windows of n samples in sub-blocks of m.
func (f *Fitter) Reserve(m, n int) {
	if f.Bank == nil || f.Bank.M != m || len(f.Bank.energy) < n/m {
		f.Bank = newBank(m, MaxPartials, n/m)
	}
}

// TrustedSNR is how far (dB) what a fit explains must stand above the rest of the sound for its pitch to be
// taken without a look at another explanation. Tuned on the recordings in testdata/wav.
const TrustedSNR = 10

// Load demodulates x, whose first sample has index at, for the note k. A short first fit sets the
// frequencies of the bank; it reports whether that succeeded.
func (f *Fitter) Load(x []float64, at int64, k Start) bool {
	m := f.Bank.M
	n := min(len(x)/m, int(k.reach()*f.SampleRate/float64(m)))
	if n < fewestSubBlocks {
		return false
	}
	if f.Live {
		k.most = firstPartials
	}
	ok, climbed := f.fitFirst(x[:n*m], at, k), false
	explained := 0.0
	if ok {
		explained = 1 - f.unexplained()
	}
	if explained < 1-climbLeft {
		if higher, length, found := f.climb(x, at, k, explained); found {
			k, n, climbed = higher, length, true
		} else if ok {
			ok = f.fitFirst(x[:n*m], at, k)
		}
	}
	if !climbed && !(ok && f.fitStiffer(x[:n*m], at, k)) {
		return false
	}
	f.Start = f.Learned(k.Prior)
	f.startLength = n
	f.Tune(f.joint.model.f1, f.joint.model.b, at)
	f.Push(x)
	return true
}

// fitStiffer looks for the stiffness of the note k as long as the last fit, to x, has found no place for partials: the
// second and third tell B well enough to look for higher ones. It reports whether there still is a fit.
func (f *Fitter) fitStiffer(x []float64, at int64, k Start) bool {
	for try := 0; try < 2 && f.missesPartials(2+try); try++ {
		last := &f.joint.model
		k.F1Hz, k.SigmaCents = last.f1, 2*last.sigma
		if len(f.joint.basis.part) > 1 {
			k.B, k.SigmaB = last.b, min(k.SigmaB, last.sigmaB)
		}
		k = k.stiffen(x, f.SampleRate)
		if !f.fitFirst(x, at, k) {
			return false
		}
	}
	return true
}

// fitFirst points the bank at the note k and fits all of x as a steady pitch; its first sample has index at.
func (f *Fitter) fitFirst(x []float64, at int64, k Start) bool {
	f.Tune(k.F1Hz, k.B, at)
	f.Push(x)
	return f.Follow(0, f.Bank.N, k, Steady, 0, 1)
}

// fewestSubBlocks is how many sub-blocks a window has at least that is fitted.
const fewestSubBlocks = 6

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
	k.resume = resumes && f.Live && left < resumeLeft && f.trajectory.misfit < calm && float64((to-from)*f.Bank.M) > resumeS*f.SampleRate
	ok := f.Follow(from, to, k, m, onset, passes)
	if k.resume && ok && (f.unexplained() > resumedLeft*left+resumedLeftMore || f.trajectory.misfit > calm) {
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

// When the last fit is resumed: how long (s) a window must be, as a first moment says little of the next; the part of
// the energy that the last fit left, at most; how much more, times and in all, the resumed one may leave; and the mean
// square of what all partials together lead by that no movement explains, in units of the noise, up to which phases
// can be carried on into a longer window.
const (
	resumeS         = 0.05
	resumeLeft      = 0.1
	resumedLeft     = 4.0
	resumedLeftMore = 0.01
	calm            = 4
)

// GuessLimit is how far (cents) from a first guess a reading may be.
const GuessLimit = 80.0

// growingPasses is how many fits one of the growing windows takes at most.
const growingPasses = 4

// FitGrowing fits ever longer windows that begin at from, up to to.
func (f *Fitter) FitGrowing(from, to int, k Start, m Motion, onset float64) bool {
	f.planned = warp{}
	prior := k.Prior
	n := max(fewestSubBlocks, min(f.startLength, to-from))
	for {
		n = min(2*n, to-from)
		if left := to - from - n; 2*left < n {
			n = to - from
		}
		if n < fewestSubBlocks {
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
		if !f.Follow(from, from+n, k, move, onset, growingPasses) {
			return false
		}
		if n == to-from {
			return true
		}
		k = f.Learned(prior)
	}
}
