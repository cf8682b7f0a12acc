package stringfit

import (
	"math"
	"math/cmplx"

	"tunerd/internal/stiffstring"
)

const (
	highestAlone   = 4     // partial from which alone the pitch may be told
	aloneS         = 0.012 // s of a look at it, and
	alonePeriods   = 6.0   // of the note, at least
	aloneSubBlocks = 8     // the same
	aloneSwingS    = 0.2   // s that a swing or a beat lasts: what it takes off one look it takes off all within that
	aloneLimit     = 200.0 // cents from where the bank is tuned to: what the first moments of a pluck may be off
	aloneMost      = 60.0  // cents rms by which the pitch may swing and still be one
)

// FitOnePartial reads the pitch of the sub-blocks [from, to) from the phases of the loudest of the lowest partials of
// known, the note that the bank is tuned to, where no law fits them: strings that beat, vibrato. r is known moved
// there, with an uncertainty that holds how far a single partial may lie off the law and how the pitch swung. It
// reports whether that partial has a pitch.
func (f *Fitter) FitOnePartial(from, to int, known *Result, r *Result) bool {
	p := loudestBelow(known.Partials, min(highestAlone, len(f.Bank.Omega)))
	if p == nil {
		return false
	}
	perS := f.SampleRate / float64(f.Bank.M)
	n := max(aloneSubBlocks, int(max(aloneS, alonePeriods/known.F1Hz)*perS))
	hz := f.Bank.Omega[p.N-1] * f.SampleRate / (2 * math.Pi)
	mean, swing, ok := f.Bank.meanTurn(p.N-1, hz, from, to, n, f.SampleRate)
	off := mean + stiffstring.Cents(hz, stiffstring.PartialHz(known.F1Hz, known.B, p.N))
	if !ok || !(swing < aloneMost && math.Abs(off) < aloneLimit) {
		return false
	}
	parts := append(r.Partials[:0], known.Partials...)
	at := r.At
	*r = *known
	r.At, r.Partials = at, parts
	r.MoveTo(known.F1Hz * math.Exp(off/stiffstring.CentsPerNeper))
	swings := max(1, float64(to-from)/perS/aloneSwingS)
	r.Decide(Variance{Scatter: square(stiffstring.ScatterSigma(p.N)), Vibrato: swing * swing / swings})
	r.WindowS = float64(to-from) / perS
	return true
}

// meanTurn returns how far (cents) what sounds in row lies from hz on average over the sub-blocks [from, to), and by how
// much (rms) it swings, from looks of n sub-blocks that overlap by half. It reports false where nothing sounds.
func (b *Bank) meanTurn(row int, hz float64, from, to, n int, fs float64) (mean, swing float64, ok bool) {
	step := n / 2
	apart := float64(step) / (fs / float64(b.M))
	back := cmplx.Rect(1, -math.Mod(2*math.Pi*hz*apart, 2*math.Pi))
	toCents := stiffstring.CentsPerNeper / (2 * math.Pi * apart * hz)
	var sum, before complex128
	var spread, all float64
	for at := from; at+n <= to; at += step {
		z := b.Probe(row, hz, at, n, fs)
		turn := z * cmplx.Conj(before) * back
		before = z
		if at == from {
			continue
		}
		sum += turn
		off, w := cmplx.Phase(turn)*toCents, cmplx.Abs(turn)
		spread, all = spread+w*off*off, all+w
	}
	if all == 0 {
		return 0, 0, false
	}
	mean = cmplx.Phase(sum) * toCents
	return mean, math.Sqrt(max(0, spread/all-mean*mean)), true
}

// loudestBelow returns the loudest of the partials up to number most; nil if there is none.
func loudestBelow(parts []Partial, most int) *Partial {
	var loudest *Partial
	for i := range parts {
		if p := &parts[i]; p.N >= 1 && p.N <= most && (loudest == nil || p.LevelDB > loudest.LevelDB) {
			loudest = p
		}
	}
	return loudest
}
