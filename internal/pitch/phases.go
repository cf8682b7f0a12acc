package pitch

import (
	"math"
	"math/cmplx"
	"slices"

	"tunerd/internal/pitch/stringfit"
	"tunerd/internal/stiffstring"
)

// A watch keeps what short looks at the lower partials have shown, hop by hop. Between two looks the
// phases say how far the pitch is from that of the last fit, at next to no cost: long before a long
// window does, and without a fit.
type phaseWatch struct {
	at        [keptProbes]float64 // sample index of the middle of each look
	amplitude [keptProbes][highestProbed]complex128
	turns     [keptProbes][highestCompared]float64 // phases of the lowest, in turns
	hz        [keptProbes]float64                  // pitch that they showed against an earlier look; 0: none
	probes    int                                  // looks since the note began
}

const (
	keptProbes      = 64 // looks that are kept
	highestProbed   = 8  // highest partial that is looked at
	highestCompared = 4  // highest partial that tells where the pitch is
)

// latest returns the place of the look taken ago hops before the newest one.
func (w *phaseWatch) latest(ago int) int { return (w.probes - 1 - ago) % keptProbes }

// probeLength returns the sub-blocks of a short look at partials: 25 ms, or less for high notes, and
// four periods at least.
func (t *Tracker) probeLength() int {
	s := max(min(0.025, 11/t.base.F1Hz), 4/t.base.F1Hz)
	return int(max(0.016, s) * t.fs / float64(t.m))
}

// measurePhases probes the lower partials, sets the lead of their phases, and sees that the string is retuned.
func (t *Tracker) measurePhases() {
	f := &t.note
	n := min(f.Bank.N, t.probeLength())
	if n < 4 {
		return
	}
	w := &t.phases
	w.probes++
	i := w.latest(0)
	w.at[i] = float64(f.Bank.First) + (float64(f.Bank.N)-float64(n)/2)*float64(f.Bank.M) - 0.5
	clear(w.amplitude[i][:])
	for _, p := range t.base.Partials {
		if p.N <= highestProbed && p.N <= len(f.Bank.Omega) {
			w.amplitude[i][p.N-1] = f.Bank.Probe(p.N-1, p.Hz, f.Bank.N-n, n, t.fs)
		}
	}
	for k := range w.turns[i] {
		w.turns[i][k] = cmplx.Phase(w.amplitude[i][k]) / (2 * math.Pi)
	}
	ahead, noise := t.phaseLead()
	t.lead = ahead
	w.hz[i] = 0
	if noise > 0 {
		w.hz[i] = t.base.F1Hz * math.Exp(ahead/stiffstring.CentsPerNeper)
	}
	t.swing = t.residualSwing()
	if noise == 0 {
		return // nothing to compare
	}
	limit := retunedCents + 6*noise // one look in ninety a second must not be a chance
	if t.stage == settling {
		// Just after a pluck the pitch falls, and the reading is still learning where to.
		limit += stringfit.GlideSigma*math.Exp(-t.age()/0.15) + 2*t.base.SigmaCents
		ahead -= t.expectedLead()
	}
	if math.Abs(t.lead) > min(fastestHand, 0.4*stiffstring.CentsPerNeper/(t.base.F1Hz*t.probeApartS())) {
		t.fastAt = t.next
	}
	if math.Abs(ahead) <= limit {
		return
	}
	if hop := float64(4*t.frame) / t.fs; math.Abs(t.lead)*t.base.F1Hz*hop > mostTurn*stiffstring.CentsPerNeper {
		t.lead, w.hz[i] = 0, 0 // it may as well have run the other way
		t.followVibrato()
		return
	}
	t.retunedAt = t.next
	if t.fastAt > 0 && float64(t.next-t.fastAt) <= swingS*t.fs {
		t.nextFit = min(t.nextFit, t.next+int64(voiceS*t.fs)) // a voice, or something else sounds: only a fit can tell
	}
}

// mostTurn is by how much of a turn the lowest partial may run ahead in a hop: twice as much is ambiguous.
const mostTurn = 0.25

// residualSwing returns by how much (cents, root mean square) the pitch of the latest swingS has strayed from a straight
// line; 0 where too little of it was seen.
func (t *Tracker) residualSwing() float64 {
	w := &t.phases
	hop := float64(4*t.frame) / t.fs // s
	var n, y, yy, x, xx, xy float64
	for ago := range min(w.probes, keptProbes, int(swingS/hop)) {
		hz := w.hz[w.latest(ago)]
		if hz == 0 {
			continue
		}
		u, v := float64(ago), (hz/t.base.F1Hz-1)*stiffstring.CentsPerNeper
		n, x, xx = n+1, x+u, xx+u*u
		y, yy, xy = y+v, yy+v*v, xy+u*v
	}
	if n < 4 {
		return 0
	}
	along := xy - x*y/n
	return math.Sqrt(max(0, yy-y*y/n-along*along/(xx-x*x/n)) / (n - 2))
}

// expectedLead returns how far (cents) from the last reading the glide that was found lets the pitch lie on
// average between the two looks that compare sets against each other.
func (t *Tracker) expectedLead() float64 {
	w := &t.phases
	now, then := w.at[w.latest(0)], w.at[w.latest(t.probeApartHops())]
	return t.note.PlannedBetween(then, now)
}

// turnedCents is how far the latest tenth of a second must lie from the reading for someone to be
// turning the peg.
const retunedCents = 0.35

// fastestHand is how far (cents) a hand can turn a string in that time.
const fastestHand = 25

// While the pitch swings faster than that, as a voice's does, and for swingS (s) after it did, a fit is made
// every voiceS (s).
const (
	swingS = 0.4
	voiceS = 0.03
)

// probeApartS returns the time between two looks that are compared, in seconds: they share no samples,
// and the fundamental turns so little between them that a swing of half a semitone is told.
func (t *Tracker) probeApartS() float64 {
	return max(float64(t.probeLength()*t.m)/t.fs, max(0.025, min(0.05, 11/t.base.F1Hz)))
}

// probeApartHops returns how many hops lie between two looks that are compared.
func (t *Tracker) probeApartHops() int {
	return int(math.Ceil(t.probeApartS() * t.fs / float64(4*t.frame)))
}

// phaseLead returns how far (cents, positive is sharp) the pitch of the latest tenth of a second lies
// from the last reading, and the standard error of that: by how much the phases of the lowest
// partials have run ahead between two looks that share no samples. The pitch must not run further in
// a hop than half a turn of these partials.
func (t *Tracker) phaseLead() (ahead, noise float64) {
	w := &t.phases
	n := float64(t.probeLength() * t.m)
	apart := t.probeApartHops()
	if w.probes <= apart || apart >= keptProbes || float64(t.note.Bank.N*t.m) < n+float64(apart*4*t.frame) {
		return 0, 0
	}
	now, then := w.latest(0), w.latest(apart)
	between := (w.at[now] - w.at[then]) / t.fs
	var off [highestCompared]float64
	seen, gone := 0, 0
	watched, loudest := t.reliablePartials()
	for i := range watched {
		p := &watched[i]
		early, late := w.amplitude[then][p.N-1], w.amplitude[now][p.N-1]
		if p.LevelDB < loudest-faintBeside || early == 0 {
			continue
		}
		faded := p.LevelDB - 20*math.Log10(2*cmplx.Abs(late)+1e-30)
		if faded > 20 {
			gone++
			continue
		}
		off[seen] = w.ahead(p, apart, t.fs) / (p.Hz * between) * stiffstring.CentsPerNeper
		// White noise: 24σ²/(A²N³) for the window of the fit, 6σ²/(A²·n·b²) for two Hann looks b apart.
		length := t.fitWindow * t.fs
		noise += p.SigmaCents * math.Sqrt(length*length*length/(4*n)) / (between * t.fs) * max(1, math.Pow(10, faded/20))
		seen++
	}
	if seen <= gone { // the note has all but ended
		return 0, 0
	}
	slices.Sort(off[:seen])
	ahead = (off[(seen-1)/2] + off[seen/2]) / 2
	// A string that is turned takes all its partials along; whatever else sounds does not.
	if seen > 1 && off[seen-1]-off[0] > max(retunedCents, 0.5*math.Abs(ahead)) {
		return 0, 0
	}
	noise /= math.Pow(float64(seen), 1.5)
	if noise > mostNoise {
		return 0, 0
	}
	return ahead, noise
}

// reliablePartials returns the partials that tell where the pitch is, and the level (dB) of the loudest of them: the
// lowest, and those that no hand, nor the swing that was seen, turns by more in a hop than can be told.
func (t *Tracker) reliablePartials() (parts []stringfit.Partial, loudest float64) {
	hop := float64(4*t.frame) / t.fs // s
	fastest := max(fastestHand, 3*t.swing)
	loudest = math.Inf(-1)
	n := 0
	for n < len(t.base.Partials) {
		p := &t.base.Partials[n]
		if p.N > highestCompared || n > 0 && p.Hz*hop*fastest > 0.4*stiffstring.CentsPerNeper {
			break
		}
		loudest = max(loudest, p.LevelDB)
		n++
	}
	return t.base.Partials[:n], loudest
}

const (
	faintBeside = 12.0 // dB below the loudest at which a partial tells next to nothing beside it
	mostNoise   = 4.0  // cents of noise from which a look tells nothing
)

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
func (t *Tracker) retuning() bool { return t.retunedAt > 0 && float64(t.next-t.retunedAt) < 0.2*t.fs }

// followRetuning moves the reading with the phases while the string is retuned. A fit needs a window in which
// the pitch stands still, and short ones only keep this honest.
func (t *Tracker) followRetuning() {
	f1 := t.base.F1Hz * math.Exp(t.lead/stiffstring.CentsPerNeper)
	// Two looks give the pitch of a moment ago; how far it ran since is not known yet.
	const ofLead = 2 // times what the phases run ahead
	moved := stringfit.Variance{Movement: square(ofLead * t.lead)}
	if t.swing > ofLead*math.Abs(t.lead) {
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
// look, the others from the last fit.
func (t *Tracker) setPhases(parts []stringfit.Partial) {
	w := &t.phases
	ago := float64(t.next-t.base.At) / t.fs
	for i := range parts {
		p := &parts[i]
		turns := p.PhaseTurns + p.Hz*ago
		if p.N <= highestProbed && w.probes > 0 {
			now := w.latest(0)
			if z := w.amplitude[now][p.N-1]; z != 0 {
				p.LevelDB = 10 * math.Log10(4*stringfit.Power(z))
				turns = cmplx.Phase(z)/(2*math.Pi) + p.Hz*(float64(t.next)-w.at[now])/t.fs
			}
		}
		p.PhaseTurns = turns - math.Floor(turns)
	}
}
