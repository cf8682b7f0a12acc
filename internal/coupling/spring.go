package coupling

import "math"

// A Spring says what the springs of a floating bridge have to do so that the bridge stays where it was.
type Spring struct {
	ForceN   float64 // more than before, along the strings: times string arm over spring arm at the springs
	WayMM    float64 // that the bridge would otherwise move, towards the pegs if above 0
	StiffNMM float64 // K of the bridge, as learned; it carries the error of the strings' assumed stiffness
}

// SpringFor returns the change of the springs between two tunings of the same strings, the learner's own
// being the new one.
func (l *Learner) SpringFor(before *Prior) Spring {
	s := Spring{StiffNMM: math.NaN(), WayMM: math.NaN()}
	r := l.response()
	for i := range l.prior.Strings {
		s.ForceN += r.lever[i] * (l.prior.Strings[i].TensionN - before.Strings[i].TensionN)
	}
	if len(r.weight) > 0 {
		s.StiffNMM = 1 / r.weight[0]
		s.WayMM = s.ForceN * r.weight[0] // the strings are tuned, whatever the bridge does: only springs hold it
	}
	return s
}
