package acquire

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// A Ladder finds a note from the spacing of its partials. It serves where the waveform has no
// clear period: a stiff string whose upper partials carry all the sound (plucked behind the
// bridge, or picked at a node), the lowest missing and other things ringing along. Any two
// neighbours among the strongest peaks of a spectrum suggest a numbering; the one wins whose
// stiff-string law the most peaks keep, counting each by how unlikely it is to lie on a rung by
// chance.
type Ladder struct {
	size   int
	plan   *fourier.FFT
	window []float64
	pad    []float64
	spec   []complex128
	peaks  []Peak
	binHz  float64 // inverse length of the window
}

type Peak struct {
	Hz     float64
	Weight float64 // amplitude
}

// Chosen, not tuned on a cell of the accuracy tables: so that all keys of a piano are read (register_test.go) and noise
// is given no note (quiet_test.go).
const (
	ladderPeaks   = 24
	peakFloor     = 3e-3  // of the highest peak's amplitude, 50 dB below it, from which a peak counts
	ladderCents   = 4.0   // a peak this near its rung lies on it,
	ladderBins    = 0.06  // or this near, in parts of the width that the window leaves a peak
	ladderMinHit  = 7     // peaks on rungs
	ladderScore   = 16.0  // nepers of unlikeliness, over all peaks
	neighbours    = 4     // peaks among which two are taken for partials that follow one another
	firstReach    = 3     // times ladderCents within which a first guess is judged
	beyondTop     = 12    // partials above those that a fit takes that still count as rungs
	ladderSigma   = 0.7   // cents, of the pitch that the rungs tell
	stiffestSigma = 2.0   // cents, of the pitch that the lowest three peaks tell
	stiffnessPart = 0.03  // of B, its standard deviation then
	leastSigmaB   = 1e-6  // of B, at least
	mostB         = 0.01  // that is looked for: the top of a piano has 2e-2, but no seven partials below 20 kHz
	fitTop        = 3     // highest partial that the first fit holds: the second and third tell B
	leastStrong   = 3     // peaks that tell a note by themselves
	stiffSigmas   = 3     // of the prior, above its mean, up to which such a note may be stiff
	leastPower    = 1e-30 // keeps logarithms and quotients of silence finite
)

// triedB are the inharmonicities that a numbering of two peaks is tried with, by factors of two: within one, a fit to
// all peaks finds the way. Zero is for what has none.
var triedB = [...]float64{0, 5e-5, 1e-4, 2e-4, 4e-4, 8e-4, 1.6e-3, 3.2e-3}

// reaches are the multiples of ladderCents within which peaks are fitted, one after the other.
var reaches = [...]float64{3, 2, 1}

// Spacing returns what the peaks of x suggest for a fundamental between minHz and maxHz.
func (l *Ladder) Spacing(x []float64, fs, minHz, maxHz float64) (stringfit.Start, bool) {
	l.spectrum(x)
	l.pick(fs, len(x))
	var best stringfit.Start
	bestScore := ladderScore
	for i := range l.peaks {
		for j := i + 1; j < min(i+neighbours, len(l.peaks)); j++ {
			gap := l.peaks[j].Hz - l.peaks[i].Hz
			k := int(l.peaks[i].Hz/gap + 0.5)
			for n := max(1, k-1); n <= k+1; n++ {
				for _, b := range triedB {
					f := l.peaks[i].Hz / stiffstring.PartialHz(1, b, n)
					if f < minHz || f > maxHz {
						continue
					}
					if c, score := l.refined(f, b); score > bestScore && c.F1Hz > minHz && c.F1Hz < maxHz {
						best, bestScore = c, score
					}
				}
			}
		}
	}
	return best, best.F1Hz > 0
}

// StrongPeaks returns the peaks of x not far below the highest, and which part of the power of the sound is in them.
func (l *Ladder) StrongPeaks(x []float64, fs float64) (peaks []Peak, share float64) {
	l.spectrum(x)
	l.pick(fs, len(x))
	top := 0.0
	for _, p := range l.peaks {
		top = max(top, p.Weight)
	}
	lobe := 2 * l.size / len(x) // bins from the top of a peak to the end of its main lobe
	var on, all float64
	for _, s := range l.spec {
		all += stringfit.Power(s)
	}
	kept := l.peaks[:0]
	for _, p := range l.peaks {
		if p.Weight < top*ringPart {
			continue
		}
		kept = append(kept, p)
		at := int(p.Hz/fs*float64(l.size) + 0.5)
		for i := max(0, at-lobe); i <= min(len(l.spec)-1, at+lobe); i++ {
			on += stringfit.Power(l.spec[i])
		}
	}
	return kept, on / max(all, leastPower)
}

// Stiffest returns the note whose partials from the lowest up, three or more, are all peaks of x that are not
// far below the highest. It serves for strings so stiff that a period says nothing of the lowest partial.
func (l *Ladder) Stiffest(x []float64, fs float64) (stringfit.Start, bool) {
	l.spectrum(x)
	l.pick(fs, len(x))
	top := 0.0
	for _, p := range l.peaks {
		top = max(top, p.Weight)
	}
	strong := l.peaks[:0]
	for _, p := range l.peaks {
		if p.Weight > top*ringPart {
			strong = append(strong, p)
		}
	}
	if len(strong) < leastStrong {
		return stringfit.Start{}, false
	}
	// (f2/f1)² = 4·(1+4B)/(1+B).
	const second = 2 * 2 // square of its number
	f1 := strong[0].Hz
	q := strong[1].Hz * strong[1].Hz / (second * f1 * f1)
	b := (q - 1) / (second - q)
	prior := stiffstring.StiffnessPrior(f1)
	if !(b > 0 && b < prior.Mean+stiffSigmas*prior.Sigma) {
		return stringfit.Start{}, false
	}
	for i, p := range strong {
		if k, off := stiffstring.Nearest(p.Hz, f1, b); k != i+1 || math.Abs(off) > ladderCents {
			return stringfit.Start{}, false
		}
	}
	return stringfit.Start{F1Hz: f1, SigmaCents: stiffestSigma, B: b, SigmaB: max(leastSigmaB, stiffnessPart*b), Prior: prior, Top: fitTop}, true
}

const ringPart = 0.05 // of the highest peak's amplitude: 26 dB below it

// spectrum fills spec with that of x under a Hann window, padded to twice its length or more.
func (l *Ladder) spectrum(x []float64) {
	size := 1
	for size < 2*len(x) {
		size *= 2
	}
	if size != l.size {
		l.size, l.plan = size, fourier.NewFFT(size)
		l.pad, l.spec = make([]float64, size), make([]complex128, size/2+1)
	}
	if len(l.window) != len(x) {
		l.window = make([]float64, len(x))
		for i := range l.window {
			l.window[i] = 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(x)))
		}
	}
	clear(l.pad)
	for i, v := range x {
		l.pad[i] = v * l.window[i]
	}
	l.plan.Coefficients(l.spec, l.pad)
}

// pick keeps the strongest peaks within 50 dB of the highest, in order of frequency.
func (l *Ladder) pick(fs float64, n int) {
	l.binHz = fs / float64(n)
	l.peaks = l.peaks[:0]
	apart := max(2, 2*l.size/n) // half the main lobe, bins
	level := func(i int) float64 { return cmplx.Abs(l.spec[i]) }
	for i := apart; i < len(l.spec)-apart; i++ {
		a := level(i)
		top := true
		for j := i - apart; j <= i+apart && top; j++ {
			top = j == i || level(j) < a
		}
		if !top {
			continue
		}
		// Parabola through the logarithms of three bins.
		p, q, r := math.Log(level(i-1)+leastPower), math.Log(a+leastPower), math.Log(level(i+1)+leastPower)
		shift := 0.0
		if bend := p - 2*q + r; bend < 0 {
			shift = 0.5 * (p - r) / bend
		}
		l.peaks = append(l.peaks, Peak{Hz: (float64(i) + shift) * fs / float64(l.size), Weight: a})
	}
	slices.SortFunc(l.peaks, func(a, b Peak) int { return cmp.Compare(b.Weight, a.Weight) })
	l.peaks = l.peaks[:min(len(l.peaks), ladderPeaks)]
	for i := range l.peaks {
		if l.peaks[i].Weight < l.peaks[0].Weight*peakFloor {
			l.peaks = l.peaks[:i]
			break
		}
	}
	slices.SortFunc(l.peaks, func(a, b Peak) int { return cmp.Compare(a.Hz, b.Hz) })
}

// refined fits the law to the peaks that lie near the rungs of f1 and B, and scores it.
func (l *Ladder) refined(f1, b float64) (stringfit.Start, float64) {
	if _, score := l.judge(f1, b, firstReach*ladderCents); score < ladderScore/2 {
		return stringfit.Start{}, 0
	}
	for _, reach := range reaches {
		// (f_k/k)² = f0²·(1 + B·k²): a straight line over k².
		var w, x, y, xx, xy float64
		for _, p := range l.peaks {
			k, off := stiffstring.Nearest(p.Hz, f1, b)
			if k < 1 || math.Abs(off) > l.tolerance(p.Hz, reach*ladderCents) {
				continue
			}
			kk := float64(k * k)
			v := p.Hz * p.Hz / kk
			w++
			x += kk
			y += v
			xx += kk * kk
			xy += kk * v
		}
		det := w*xx - x*x
		u, s := (xx*y-x*xy)/det, (w*xy-x*y)/det
		if !(det > 0 && u > 0) {
			return stringfit.Start{}, 0
		}
		b = max(0, min(mostB, s/u))
		f1 = math.Sqrt(u * (1 + b))
	}
	return l.judge(f1, b, ladderCents)
}

// tolerance returns how far (cents) a peak at hz may lie from its rung, where that is cents or more: of a low one the
// window leaves no better.
func (l *Ladder) tolerance(hz, cents float64) float64 {
	return max(cents, cents/ladderCents*ladderBins*l.binHz/hz*stiffstring.CentsPerNeper)
}

// judge scores the law f1, B by the peaks that lie within so many cents of a rung, or what the window leaves.
func (l *Ladder) judge(f1, b, cents float64) (stringfit.Start, float64) {
	var score float64
	hits, last, common := 0, 0, 0
	for _, p := range l.peaks {
		k, off := stiffstring.Nearest(p.Hz, f1, b)
		tolerance := l.tolerance(p.Hz, cents)
		if k < 1 || k > stringfit.MaxPartials+beyondTop || k == last || math.Abs(off) > tolerance {
			continue
		}
		last = k
		common = divisor(common, k)
		hits++
		chance := 2 * tolerance / stiffstring.CentsPerNeper * p.Hz / f1
		score += max(0, -math.Log(chance))
	}
	if hits < ladderMinHit || common > 1 { // a common divisor: the note is higher by it
		return stringfit.Start{}, 0
	}
	return stringfit.Start{F1Hz: f1, SigmaCents: ladderSigma, B: b, SigmaB: max(leastSigmaB, stiffnessPart*b), Prior: stiffstring.StiffnessPrior(f1), Top: fitTop}, score
}

// divisor returns the greatest common divisor of a and b.
func divisor(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
