package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// Lengths of frames, in seconds: of a wavering pitch, and of ones that swing several times a second, which
// take a window of longestSwingS to have a mean.
var frameLengths = [...]float64{frameS, 0.045, 0.02}

const (
	frameS        = 0.09
	longestSwingS = 0.5
)

const (
	framePeriods = 6.0   // of the note that a frame holds at least
	fewestFrames = 3     // and half of all, that must have a pitch
	swingCents   = 150.0 // that a frame may lie from the middle of the swing, and from the frame before it
	frameSigma   = 25.0  // cents to which the pitch of a frame is known before
	frameSNR     = 3.0   // dB that its partials must stand above the rest
	frameLeast   = 1.0   // cents² of a frame, whatever its fit says
)

// framesBetterDB is how much better (dB) frames must explain a sound than one fit to all of it.
const framesBetterDB = 3

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
		if !ok || framed.SNRdB > r.SNRdB+framesBetterDB {
			framed.Partials = append(r.Partials[:0], framed.Partials...)
			*r, ok = framed, true
		}
		if f.Live {
			break // shorter ones would take long
		}
	}
	return ok
}

// frames reads the pitch of the sub-blocks [from, to) as the course of the pitches of short
// frames, of so many seconds: a straight line through them, at the middle of the window. It fills r, with partials
// from the frame that shows the most of them, and reports whether at least three frames, and half of them,
// had a pitch. σ comes from how the frames scatter about the line.
func (f *Fitter) frames(from, to int, seconds float64, k Start, r *Result) bool {
	perS := f.SampleRate / float64(f.Bank.M)
	n := int(max(framePeriods/k.F1Hz, seconds) * perS)
	count := (to - from) / n
	if count < fewestFrames {
		return false
	}
	found := frameLine{middle: k.F1Hz}
	one := Result{At: r.At}
	for i := range count {
		one.Partials = one.Partials[:0]
		if !f.frame(from+i*n, n, k, &one) || math.Abs(stiffstring.Cents(f.Hz, found.middle)) > swingCents {
			k.F1Hz = found.middle
			continue
		}
		found.add((float64(i)-float64(count-1)/2)*float64(n)/perS, &f.fittedWindow, &one)
		if seconds < frameS {
			k.F1Hz = f.Hz // a swing goes on from there
		}
		if len(one.Partials) > len(r.Partials) {
			r.F1Hz, r.Partial1Hz, r.Odds = one.F1Hz, one.Partial1Hz, one.Odds
			r.Partials = append(r.Partials[:0], one.Partials...)
		}
	}
	if len(found.t) < fewestFrames || 2*len(found.t) < count || !found.read(r) {
		return false
	}
	r.WindowS = float64(count*n) / perS
	f.Hz, f.Variance = r.F1Hz, r.Variance
	return true
}

// frame fits n sub-blocks as a steady note near k and reads the result.
func (f *Fitter) frame(from, n int, k Start, r *Result) bool {
	k.SigmaCents, k.SigmaB, k.carry = frameSigma, k.Prior.Sigma, false
	k.B = max(0, k.B)
	if !f.Follow(from, from+n, k, Steady, 0, 1) || math.Abs(stiffstring.Cents(f.Hz, k.F1Hz)) > swingCents {
		return false
	}
	f.Read(r)
	return r.SNRdB > frameSNR
}

// A frameLine is the pitches of frames, through which a line is to go.
type frameLine struct {
	middle  float64   // [Hz] from which they are counted
	t, c, w []float64 // [s] from the middle of the window, [cents], [1/cents²]
	snr     float64   // sum, dB
	b       mean
}

// add adds the frame r, fitted in w, whose middle is at t.
func (l *frameLine) add(t float64, w *fittedWindow, r *Result) {
	l.t, l.c = append(l.t, t), append(l.c, stiffstring.Cents(w.Hz, l.middle))
	l.w = append(l.w, 1/(square(w.Variance.SigmaCents())+frameLeast))
	l.snr += r.SNRdB
	l.b.add(r.B, r.BSigma)
}

// read puts the pitch at the middle of the line into r. It reports false if there is no line.
func (l *frameLine) read(r *Result) bool {
	fit, ok := fitLine(l.t, l.c, l.w, nil)
	if !ok {
		return false
	}
	frames := float64(len(l.t))
	r.MoveTo(l.middle * math.Exp(fit.offset/stiffstring.CentsPerNeper))
	r.Decide(Variance{Vibrato: fit.offsetVar * max(1, fit.chi2/(frames-2)*fit.lasting(l.t, l.c))})
	r.B, r.BSigma = l.b.value() // what a pitch that slides does to one frame, it does to many
	r.SNRdB = l.snr / frames
	return true
}

// A mean is that of values weighed by their standard uncertainties.
type mean struct{ n, w, wy, wyy float64 }

func (m *mean) add(y, sigma float64) {
	const least = 1e-30 // of a square, where it is divided by
	v := 1 / (sigma*sigma + least)
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
