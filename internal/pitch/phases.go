package pitch

import (
	"math"
	"math/cmplx"
	"slices"

	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// A phaseWatch keeps the latest probes of the lower partials: their complex amplitudes over a short window, hop by
// hop. From probe to probe the phases say how far the pitch is from that of the last fit: long before a long window
// does, and at next to no cost.
type phaseWatch struct {
	at        [keptProbes]float64 // sample index of the middle of each probe
	amplitude [keptProbes][highestProbed]complex128
	turns     [keptProbes][highestCompared]float64 // phases of the lowest, in turns
	hz        [keptProbes]float64                  // pitch that they showed against an earlier probe; 0: none
	probes    int                                  // since the note began
}

const (
	keptProbes      = 64 // that are kept: more than swingS of them
	highestProbed   = 8  // highest partial that is probed, for the phases of the bands
	highestCompared = 4  // highest partial that tells where the pitch is
)

// Length of a probe. Chosen with retuned strings and voices (tracker_test.go, vibrato_test.go), not tuned on a cell of
// the accuracy tables.
const (
	probeS           = 0.025 // s, or
	probePeriods     = 11    // where those are shorter, but
	probeLeast       = 4     // periods at least, so that the lowest partials are told apart, and
	probeLeastS      = 0.016 // s
	probeLeastBlocks = 4     // sub-blocks, below which a Hann window has no shape
)

// Time between two probes that are compared.
const (
	apartLeastS  = 0.025 // s at least, and at most
	apartMostS   = 0.05  // s, or
	apartPeriods = 11    // where those are between the two
)

// What the phases of two probes say. Where no other origin is given: chosen, as their length.
const (
	// tellableTurn is how far (turns) a partial may run ahead between two probes: at half a turn it may as well have
	// fallen behind. The rest is room for noise.
	tellableTurn = 0.4
	// mostTurn is the same from hop to hop: twice as much is ambiguous.
	mostTurn = 0.25
	// retunedCents is how far the latest tenth of a second must lie from the reading for someone to be turning the
	// peg. Well below the cent to which a hand sets a string.
	retunedCents = 0.35
	// retunedSigmas is how many standard errors it must be beside that: of ninety probes a second none may be a
	// chance, and those of a real string scatter more than noise does.
	retunedSigmas = 6
	// fastestHand is how far (cents) a hand can turn a string in that time. Common practice, no source.
	fastestHand = 25
	// retuningForS is for how long (s) a string counts as being turned after that was seen.
	retuningForS = 0.2
	// glideFadesS is the time constant (s) by which what a reading may still learn of a glide has faded: that of the
	// energy of a plucked string, as in stringfit's prior.
	glideFadesS = 0.15
	// swingPeaks is how far a swing reaches, in its root mean squares: √2 for a sine, twice that to be safe.
	swingPeaks = 3
	// swingLeast is how many probes a straight line and what strays from it need.
	swingLeast = 4

	faintBeside = 12.0 // dB below the loudest at which a partial tells next to nothing beside it
	goneDB      = 20.0 // dB by which a partial has faded since the last fit when it is gone
	mostNoise   = 4.0  // cents of noise from which a probe tells nothing
	allTogether = 0.5  // of what the phases run ahead by which partials of one string may differ in it
)

// latest returns the place of the probe taken ago hops before the newest one.
func (w *phaseWatch) latest(ago int) int { return (w.probes - 1 - ago) % keptProbes }

// probeLength returns the sub-blocks of a probe.
func (t *Tracker) probeLength() int {
	s := max(min(probeS, probePeriods/t.base.F1Hz), probeLeast/t.base.F1Hz)
	return int(max(probeLeastS, s) * t.fs / float64(t.m))
}

// measurePhases probes the lower partials, tells how far the pitch has moved ahead of the reading, and sees that the string is retuned.
func (t *Tracker) measurePhases() {
	n := min(t.note.Bank.N, t.probeLength())
	if n < probeLeastBlocks {
		return
	}
	t.probePartials(n)
	w := &t.phases
	i := w.latest(0)
	ahead, noise := t.pitchAhead()
	t.ahead = ahead
	w.hz[i] = 0
	if noise > 0 {
		w.hz[i] = t.base.F1Hz * math.Exp(ahead/stiffstring.CentsPerNeper)
	}
	t.swing = t.residualSwing()
	if noise == 0 {
		return // nothing to compare
	}
	limit := retunedCents + retunedSigmas*noise
	if t.stage == settling {
		// Just after a pluck the pitch falls, and the reading is still learning where to.
		limit += stringfit.GlideSigma*math.Exp(-t.age()/glideFadesS) + 2*t.base.SigmaCents
		ahead -= t.expectedAhead()
	}
	if math.Abs(t.ahead) > min(fastestHand, tellableTurn*stiffstring.CentsPerNeper/(t.base.F1Hz*t.probeApartS())) {
		t.fastAt = t.next
	}
	if math.Abs(ahead) <= limit {
		return
	}
	if math.Abs(t.ahead)*t.base.F1Hz*t.hopS() > mostTurn*stiffstring.CentsPerNeper {
		t.ahead, w.hz[i] = 0, 0 // it may as well have run the other way
		t.followVibrato()
		return
	}
	t.retunedAt = t.next
	if t.fastAt > 0 && float64(t.next-t.fastAt) <= swingS*t.fs {
		t.nextFit = min(t.nextFit, t.next+int64(voiceS*t.fs)) // a voice, or something else sounds: only a fit can tell
	}
}

// probePartials adds a probe of the latest n sub-blocks.
func (t *Tracker) probePartials(n int) {
	b, w := t.note.Bank, &t.phases
	w.probes++
	i := w.latest(0)
	w.at[i] = float64(b.First) + (float64(b.N)-float64(n)/2)*float64(b.M) - 0.5
	clear(w.amplitude[i][:])
	for _, p := range t.base.Partials {
		if p.N <= highestProbed && p.N <= len(b.Omega) {
			w.amplitude[i][p.N-1] = b.Probe(p.N-1, p.Hz, b.N-n, n, t.fs)
		}
	}
	for k := range w.turns[i] {
		w.turns[i][k] = cmplx.Phase(w.amplitude[i][k]) / (2 * math.Pi)
	}
}

// residualSwing returns by how much (cents, root mean square) the pitch of the latest swingS has strayed from a straight
// line; 0 where too little of it was seen.
func (t *Tracker) residualSwing() float64 {
	w := &t.phases
	var n, y, yy, x, xx, xy float64
	for ago := range min(w.probes, keptProbes, int(swingS/t.hopS())) {
		hz := w.hz[w.latest(ago)]
		if hz == 0 {
			continue
		}
		u, v := float64(ago), (hz/t.base.F1Hz-1)*stiffstring.CentsPerNeper
		n, x, xx = n+1, x+u, xx+u*u
		y, yy, xy = y+v, yy+v*v, xy+u*v
	}
	if n < swingLeast {
		return 0
	}
	along := xy - x*y/n
	return math.Sqrt(max(0, yy-y*y/n-along*along/(xx-x*x/n)) / (n - 2))
}

// expectedAhead returns how far (cents) from the last reading the glide that was found lets the pitch lie on
// average between the two probes that pitchAhead compares.
func (t *Tracker) expectedAhead() float64 {
	w := &t.phases
	now, then := w.at[w.latest(0)], w.at[w.latest(t.probeApartHops())]
	return t.note.PlannedBetween(then, now)
}

// While the pitch swings faster than that, as a voice's does, and for swingS (s) after it did, a fit is made
// every voiceS (s).
const (
	swingS = 0.4
	voiceS = 0.03
)

// probeApartS returns the time between two probes that are compared, in seconds: they share no samples,
// and the fundamental turns so little between them that a swing of half a semitone is told.
func (t *Tracker) probeApartS() float64 {
	return max(float64(t.probeLength()*t.m)/t.fs, max(apartLeastS, min(apartMostS, apartPeriods/t.base.F1Hz)))
}

// probeApartHops returns how many hops lie between two probes that are compared.
func (t *Tracker) probeApartHops() int {
	return int(math.Ceil(t.probeApartS() * t.fs / float64(framesPerHop*t.frame)))
}

// pitchAhead returns how far (cents, positive is sharp) the pitch of the latest tenth of a second lies
// from the last reading, and the standard error of that: by how much the phases of the lowest
// partials have run ahead between two probes that share no samples. The pitch must not run further in
// a hop than half a turn of these partials.
func (t *Tracker) pitchAhead() (ahead, noise float64) {
	w := &t.phases
	n := float64(t.probeLength() * t.m)
	apart := t.probeApartHops()
	if w.probes <= apart || apart >= keptProbes || float64(t.note.Bank.N*t.m) < n+float64(apart*framesPerHop*t.frame) {
		return 0, 0
	}
	var each [highestCompared]float64
	off, gone, noise := t.comparePartials(&each, apart)
	seen := len(off)
	if seen <= gone { // the note has all but ended
		return 0, 0
	}
	slices.Sort(off)
	ahead = (off[(seen-1)/2] + off[seen/2]) / 2
	// A string that is turned takes all its partials along; whatever else sounds does not.
	if seen > 1 && off[seen-1]-off[0] > max(retunedCents, allTogether*math.Abs(ahead)) {
		return 0, 0
	}
	const ofTheMean = 1.5 // from the sum of n standard errors to that of their mean: n, and √n
	noise /= math.Pow(float64(seen), ofTheMean)
	if noise > mostNoise {
		return 0, 0
	}
	return ahead, noise
}

// comparePartials appends to each, which is empty, how far (cents) each partial that tells something has run ahead
// within the latest hops; and returns how many have faded away, and the sum of the standard errors of the others.
func (t *Tracker) comparePartials(each *[highestCompared]float64, hops int) (off []float64, gone int, noise float64) {
	w := &t.phases
	n := float64(t.probeLength() * t.m)
	now, then := w.latest(0), w.latest(hops)
	between := (w.at[now] - w.at[then]) / t.fs
	off = each[:0]
	reliable, loudest := t.reliablePartials()
	for i := range reliable {
		p := &reliable[i]
		early, late := w.amplitude[then][p.N-1], w.amplitude[now][p.N-1]
		if p.LevelDB < loudest-faintBeside || early == 0 {
			continue
		}
		faded := p.LevelDB - 2*stringfit.DB(2*cmplx.Abs(late)+leastAmplitude)
		if faded > goneDB {
			gone++
			continue
		}
		off = append(off, w.ahead(p, hops, t.fs)/(p.Hz*between)*stiffstring.CentsPerNeper)
		// White noise: 24σ²/(A²N³) for the window of the fit (the Cramér–Rao bound), 6σ²/(A²·n·b²) for two probes
		// under Hann windows, b apart: the variances stand as N³ to 4·n·b².
		const fitToProbes = 24 / 6
		length := t.fitWindow * t.fs
		noise += p.SigmaCents * math.Sqrt(length*length*length/(fitToProbes*n)) / (between * t.fs) * max(1, stringfit.PowerOf(faded/2))
	}
	return off, gone, noise
}

// reliablePartials returns the partials that tell where the pitch is, and the level (dB) of the loudest of them: the
// lowest, and those that no hand, nor the swing that was seen, turns by more in a hop than can be told.
func (t *Tracker) reliablePartials() (parts []stringfit.Partial, loudest float64) {
	fastest := max(fastestHand, swingPeaks*t.swing)
	loudest = math.Inf(-1)
	n := 0
	for n < len(t.base.Partials) {
		p := &t.base.Partials[n]
		if p.N > highestCompared || n > 0 && p.Hz*t.hopS()*fastest > tellableTurn*stiffstring.CentsPerNeper {
			break
		}
		loudest = max(loudest, p.LevelDB)
		n++
	}
	return t.base.Partials[:n], loudest
}

// leastAmplitude keeps the level of no sound finite.
const leastAmplitude = 1e-30

// ahead returns the turns by which the phases of p have run ahead within the latest hops. They are
// counted hop by hop, so that a pitch that runs off far is not taken for one that runs the other way.
func (w *phaseWatch) ahead(p *stringfit.Partial, hops int, fs float64) float64 {
	var turns float64
	for ago := hops; ago > 0; ago-- {
		then, now := w.latest(ago), w.latest(ago-1)
		more := w.turns[now][p.N-1] - w.turns[then][p.N-1] - p.Hz*(w.at[now]-w.at[then])/fs
		turns += more - math.RoundToEven(more)
	}
	return turns
}

// retuning reports whether someone turns the peg, or did a moment ago.
func (t *Tracker) retuning() bool {
	return t.retunedAt > 0 && float64(t.next-t.retunedAt) < retuningForS*t.fs
}

// followRetuning moves the reading with the phases while the string is retuned. A fit needs a window in which
// the pitch stands still, and short ones only keep this honest.
func (t *Tracker) followRetuning() {
	f1 := t.base.F1Hz * math.Exp(t.ahead/stiffstring.CentsPerNeper)
	// Two probes give the pitch of a moment ago; how far it ran since is not known yet.
	const ofAhead = 2 // times what the phases run ahead
	moved := stringfit.Variance{Movement: square(ofAhead * t.ahead)}
	if t.swing > ofAhead*math.Abs(t.ahead) {
		moved = stringfit.Variance{Vibrato: square(t.swing)}
	}
	t.base.Decide(t.fitted.Plus(moved))
	t.base.WindowS = t.probeApartS() + float64(t.probeLength()*t.m)/t.fs
	t.base.MoveTo(f1)
	t.restartWindow(t.shortest())
	t.stage = retuned
	t.nextFit = min(t.nextFit, t.next+int64(retuningS*t.fs))
	if math.Abs(stiffstring.Cents(f1, t.note.Start.F1Hz)) > retuneCents {
		t.retune(f1)
	}
}

// setPhases sets the phases of parts at the newest sample: those of the lower partials from the latest
// probe, the others from the last fit.
func (t *Tracker) setPhases(parts []stringfit.Partial) {
	w := &t.phases
	ago := float64(t.next-t.base.At) / t.fs
	for i := range parts {
		p := &parts[i]
		turns := p.PhaseTurns + p.Hz*ago
		if p.N <= highestProbed && w.probes > 0 {
			now := w.latest(0)
			if z := w.amplitude[now][p.N-1]; z != 0 {
				p.LevelDB = stringfit.DB(stringfit.Power(2 * z))
				turns = cmplx.Phase(z)/(2*math.Pi) + p.Hz*(float64(t.next)-w.at[now])/t.fs
			}
		}
		p.PhaseTurns = turns - math.Floor(turns)
	}
}
