package stringfit

import (
	"math"

	"tunerd/internal/stiffstring"
)

// What is expected of peaks that belong to no string, and of the partials of one.
const (
	peakApart    = 400.0  // cents from one peak to the next where they belong to no string
	pitchRange   = 8400.0 // cents over which strings lie: seven octaves
	levelScatter = 12.0   // dB by which partials differ from what their neighbours suggest (one σ)
	leastAbsent  = 0.05   // chance, at least, that a partial is absent although its neighbours are loud
	combOdds     = 2.0    // nepers that it costs to take a string for plucked at a node of a certain partial
	highestComb  = 6      // number of the highest such partial
)

// odds returns how much likelier (nepers) parts, numbered as those of f1 and b, are as partials of some
// string than as peaks that lie anywhere. A string, whatever its pitch and stiffness, puts them on the law, to within their
// errors and the scatter of real strings, and leaves out few below the highest but those that have a node
// where it is plucked. High ones are left out of the count where that makes the string likelier.
func odds(f1, b float64, parts []Partial) float64 {
	best := math.Inf(-1)
	if len(parts) == 0 {
		return best
	}
	for comb := 1; comb <= highestComb; comb++ {
		best = max(best, oddsOfComb(f1, b, parts, comb))
	}
	return best
}

// oddsOfComb is odds for a string plucked where partial comb, and each multiple of it, has a node; 1 is
// for one plucked anywhere else.
func oddsOfComb(f1, b float64, parts []Partial, comb int) float64 {
	prior := stiffstring.StiffnessPrior(f1)
	stiff := (b - prior.Mean) / prior.Sigma
	odds, best := 0.0, math.Inf(-1)
	if comb > 1 {
		odds = -combOdds
	}
	a11, a12, a22 := 0.0, 0.0, 1/(prior.Sigma*prior.Sigma) // what the partials tell of f1 and B
	faint := loudest(parts).LevelDB - faintDB
	var below *Partial
	for i := range parts {
		p := &parts[i]
		if p.LevelDB < faint {
			continue
		}
		width := stiffstring.ScatterWidth(p.N) + p.SigmaCents
		off := p.OffCents / width
		odds += math.Log(peakApart/(math.Pi*width*(1+off*off))) + absent(below, p, comb)
		weight := 1 / (2 * width * width) // as a value of a Cauchy distribution tells of its middle
		slope := stiffstring.PartialHzByB(f1, b, p.N) / stiffstring.PartialHz(f1, b, p.N) * stiffstring.CentsPerNeper
		a11 += weight
		a12 += weight * slope
		a22 += weight * slope * slope
		// So many strings of other pitches and stiffnesses could have been meant.
		others := pitchRange * prior.Sigma * math.Sqrt((a11*a22-a12*a12)/(2*math.Pi))
		best = max(best, odds-math.Log(others)-stiff*stiff/2)
		below = p
	}
	return best
}

// absent returns the logarithm of the chance that the partials between below (nil: none) and p are not
// heard, except those that are multiples of comb.
func absent(below, p *Partial, comb int) float64 {
	from, margin := 0, p.Margin-levelScatter
	if below != nil {
		from, margin = below.N, below.Margin
	}
	chance := 0.0
	for n := from + 1; n < p.N; n++ {
		if comb > 1 && n%comb == 0 {
			continue
		}
		expected := margin + (p.Margin-margin)*float64(n-from)/float64(p.N-from)
		chance += math.Log(max(leastAbsent, math.Erfc(expected/levelScatter/math.Sqrt2)/2))
	}
	return chance
}

// LowestHeard reports whether the lowest partial is heard so well that the numbers are not in doubt.
func (r *Result) LowestHeard() bool {
	if len(r.Partials) == 0 {
		return false
	}
	first := &r.Partials[0]
	return first.N == 1 && first.LevelDB > r.Loudest().LevelDB-faintDB && first.SigmaCents < vagueCents
}

// vagueCents is the standard error from which a lowest partial may be anything.
const vagueCents = 25

// faintDB is how far below the loudest partial others say nothing: whatever leaks is there, too.
const faintDB = 50

// Loudest returns the loudest partial.
func (r *Result) Loudest() *Partial { return loudest(r.Partials) }

func loudest(parts []Partial) *Partial {
	most := &parts[0]
	for i := range parts {
		if parts[i].LevelDB > most.LevelDB {
			most = &parts[i]
		}
	}
	return most
}
