package ensemble

import (
	"math"

	"tunerd/internal/stiffstring"
)

const (
	standsOut  = 30.0 // squared amplitude over its variance from which a partial is heard
	levelReach = 45.0 // dB below the loudest partial of all at which none counts as heard
)

// leastApart is how far (1/window) at least one of the lowest partials of a string must lie off all those of others for
// it to be told from them: half a beat.
const leastApart = 0.5

// Logarithms of the odds from which a string is said to sound, 20 to 1, and not to, 90 to 1: that a string
// which sounds is told silent is the worse mistake, and odds that rest on partials which nearly meet others' vary with where
// a window ends.
const (
	surely       = 3.0
	surelySilent = 4.5
)

// What a partial's level may be, in steps of stepDB. Partial k of a plucked or struck string is
// expected slopeSteps·(k−1) steps below the string's level, scattered normally by scatterDB; weakPart
// of them, near a node of the pluck or where the body takes them, lie weakDB further down, scattered by
// twice as much. Read off the levels of the 27 plucked and struck notes in testdata/wav/partials.json.
const (
	stepDB     = 4.0
	slopeSteps = 1
	scatterDB  = 9.0
	weakPart   = 0.2
	weakDB     = 20.0
	aboveSteps = 5  // steps above its expected level that a partial may be
	scatters   = 21 // levels that a partial may have about the expected one
)

const (
	lowPartials  = 8  // are weighed: a sounding string has most of them
	stringLevels = 10 // to 32 dB below the loudest partial of all: strings that nobody plays ring along below that
	levels       = stringLevels + scatters + (lowPartials-1)*slopeSteps
	strayLevels  = 11 // within levelReach
	// loudestLevel is where the loudest partial of all lies among the levels.
	loudestLevel = aboveSteps + 1
)

// strayPart is how often something lies by chance where a partial is looked for: a tone between two strings,
// a string that is not listed. unlistedPart is how often a string that is not listed sounds an octave or a
// twelfth above one that is. Set so that no absent string of the strums in testdata/wav is taken to sound.
const (
	strayPart    = 0.03
	unlistedPart = 0.05
	strayFall    = 1.4 // by how much more common a stray one step lower is
)

// scatterWeights say how probable each level about the expected one is, from aboveSteps above on down.
var scatterWeights = func() (w [scatters]float64) {
	sum := 0.0
	for i := range w {
		db := stepDB * float64(aboveSteps-i)
		x, y := db/scatterDB, (db+weakDB)/(2*scatterDB)
		w[i] = (1-weakPart)*math.Exp(-x*x/2) + weakPart/2*math.Exp(-y*y/2)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}()

// strayWeights say how probable each level of a stray is, from the loudest on down: a quiet one is more common
// than a loud one.
var strayWeights = func() (w [strayLevels]float64) {
	sum := 0.0
	for i := range w {
		w[i] = math.Pow(strayFall, float64(i))
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}()

// The evidence is what is heard of a string.
type evidence struct {
	heard  int                    // partials that stand out
	stands float64                // squared amplitudes over their variances, of the lowest partials together
	alone  bool                   // one of the lowest partials is heard where no other string has one
	apart  float64                // the most that one of the lowest lies off all others', in 1/window
	power  float64                // of these together
	decay  float64                // [1/s] in the mean of these
	noise  float64                // power in the band of one partial
	low    [lowPartials]amplitude // of the lowest partials
	odds   float64                // [nepers] that it sounds against that it does not
}

// An amplitude is what was found of one partial: its power, and the variance that noise, what else
// sounds close by and the uncertainty of its frequency leave it. Without a variance it was not looked for.
type amplitude struct{ power, doubt float64 }

// weigh finds which partials of each candidate stand out, and the odds that it sounds.
func (f *fit) weigh(voices []voice) {
	var loudest, fade float64
	for _, a := range f.active {
		if p := &f.partials[a]; norm(p.c) > loudest {
			loudest, fade = norm(p.c), p.alpha
		}
	}
	for i := range voices {
		voices[i].evidence = evidence{noise: f.white}
	}
	for i := range f.clusters {
		f.uncertainty(&f.clusters[i])
	}
	for at, a := range f.active {
		p := &f.partials[a]
		v := &voices[p.voice]
		power := norm(p.c)
		p.heard = power > standsOut*p.doubt && power > loudest*math.Pow(10, -levelReach/10)
		if p.heard {
			v.alone = v.alone || p.k <= lowPartials && f.clusters[p.cluster].size() == 1
			v.heard++
			v.power += power
			v.decay += power * p.alpha
		}
		if p.k <= lowPartials {
			v.apart = math.Max(v.apart, f.apart(at))
			gain := 1.0
			if p.heard && f.clusters[p.cluster].size() == 1 {
				gain = f.sinceStart(p.alpha - fade)
			}
			v.low[p.k-1] = amplitude{power * gain, p.doubt * gain}
			v.stands += power / p.doubt
		}
	}
	for i := range voices {
		if v := &voices[i]; v.candidate {
			if v.heard > 0 {
				v.decay /= v.power
			}
			v.odds = v.oddsOfSounding(loudest)
			if v.heard == 0 {
				v.strongest()
			}
		}
	}
}

// mostSinceStart is the most that is made of a partial's dying away within the window: 30 dB.
const mostSinceStart = 1000.0

// sinceStart returns by how much more of its power than the loudest partial one has lost up to the middle of the window
// that dies away faster by so much (1/s): a high string is played as loud as a low one, but does not ring as long.
func (f *fit) sinceStart(faster float64) float64 {
	return math.Max(1, math.Min(mostSinceStart, math.Exp(faster*f.seconds)))
}

// apart returns how far the partial at a place among the active ones is from the nearest of another string, in 1/window.
func (f *fit) apart(at int) float64 {
	p := &f.partials[f.active[at]]
	nearest := math.Inf(1)
	for _, step := range [2]int{-1, 1} {
		for i := at + step; i >= 0 && i < len(f.active); i += step {
			if other := &f.partials[f.active[i]]; other.voice != p.voice {
				nearest = math.Min(nearest, math.Abs(other.hz-p.hz)*f.seconds)
				break
			}
		}
	}
	return nearest
}

// strongest takes the level of a string of which no partial stands out by itself, but all together do,
// from its strongest partial.
func (v *voice) strongest() {
	for _, a := range v.low {
		if a.power-a.doubt > v.power {
			v.power, v.heard = a.power-a.doubt, 1
		}
	}
}

// oddsOfSounding returns the logarithm of the odds that the string sounds, by the amplitudes of its
// lowest partials, all levels of the string from 4 dB above the loudest partial to 32 dB below it being as
// probable. If it does not sound, there is nothing or, now and then, a string that is not listed, an
// octave or a twelfth above. A partial that others cover has a large variance, and so hardly a say.
func (v *voice) oddsOfSounding(loudest float64) float64 {
	var partials [lowPartials]likelihood
	for i, a := range v.low {
		if a.doubt > 0 {
			partials[i] = a.likelihood(loudest)
		}
	}
	none := 0.0
	for i := range partials {
		none += partials[i].absent
	}
	here, above := math.Inf(-1), math.Inf(-1)
	for level := range stringLevels {
		var string, octave, twelfth float64
		for i := range partials {
			p, k := &partials[i], i+1
			string += p.sounding(level, k)
			octave += p.multiple(level, k, 2)
			twelfth += p.multiple(level, k, 3)
		}
		here = logSum(here, string)
		above = logSum(above, logSum(octave, twelfth))
	}
	return here - logSum(none+math.Log(stringLevels), above+math.Log(unlistedPart))
}

// A likelihood is how probable an amplitude is, by the level that its partial really has.
type likelihood struct {
	tested bool
	absent float64         // [nepers] of a partial that is not there
	scale  float64         // [nepers] of the most probable level
	of     [levels]float64 // by level, in units of that
}

// likelihood returns how probable a is: a true amplitude of random phase and mean power s, seen
// through a's variance, is circular normal with variance s + doubt.
func (a amplitude) likelihood(loudest float64) likelihood {
	l := likelihood{tested: true, scale: math.Inf(-1)}
	density := func(s float64) float64 { return -a.power/(s+a.doubt) - math.Log(s+a.doubt) }
	s := loudest * math.Pow(10, stepDB*loudestLevel/10)
	for i := range l.of {
		l.of[i] = density(s)
		l.scale = math.Max(l.scale, l.of[i])
		s *= stepFactor
	}
	stray := 0.0
	for i := range l.of {
		l.of[i] = math.Exp(l.of[i] - l.scale)
		if i >= loudestLevel && i < loudestLevel+strayLevels {
			stray += l.of[i] * strayWeights[i-loudestLevel]
		}
	}
	l.absent = logSum(density(0)+math.Log(1-strayPart), l.scale+math.Log(strayPart*stray))
	return l
}

// stepFactor is the power of one level against the one above it.
var stepFactor = math.Pow(10, -stepDB/10)

// sounding returns the logarithm of the probability of partial k of a string at a level.
func (l *likelihood) sounding(level, k int) float64 {
	if !l.tested {
		return 0
	}
	sum := 0.0
	first := level + (k-1)*slopeSteps
	for i, w := range scatterWeights {
		sum += w * l.of[first+i]
	}
	return l.scale + math.Log(sum)
}

// multiple returns the same for what lies at the place of partial k when a string of n times the pitch sounds.
func (l *likelihood) multiple(level, k, n int) float64 {
	if k%n == 0 {
		return l.sounding(level, k/n)
	}
	return l.absent
}

// logSum returns ln(eᵃ + eᵇ).
func logSum(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// sounds reports whether it is sure that the string sounds, at a pitch at which it was looked for. Where
// it was found in what others leave, which is also what their fit leaves, it must be heard by itself.
func (v *voice) sounds() bool {
	if v.sought && !v.alone {
		return false
	}
	return v.odds > surely && v.stands > standsOut && v.apart > leastApart && !v.strayed()
}

// mayHide reports whether a string that is not sure to sound is not sure to be silent either: what
// there is at its partials can all be that of others.
func (v *voice) mayHide() bool { return v.odds > -surelySilent }

// strayed reports whether the fit has gone where no string is looked for.
func (v *voice) strayed() bool {
	return math.Abs(stiffstring.CentsPerNeper*math.Log(v.f1/v.target)) > searchCents+strayCents
}

// snr returns the power of the partials that are heard over the noise in their bands.
func (v *voice) snr() float64 {
	return v.power / (v.noise*float64(v.heard) + math.SmallestNonzeroFloat64)
}

// uncertainty sets the variance of the amplitude of each partial of a cluster, and its power.
func (f *fit) uncertainty(c *cluster) {
	size := 4 * c.size()
	mat := f.matrix[c.at : c.at+size*size]
	f.refactor(c, mat)
	f.column = grow(f.column, size)
	c.power = 0
	for k, a := range f.active[c.from:c.to] {
		p := &f.partials[a]
		p.doubt = 0
		for part := range 2 {
			clear(f.column)
			f.column[2*k+part] = 1
			solve(mat, size, f.column)
			p.doubt += f.column[2*k+part]
		}
		c.power += norm(p.c)
	}
}

// refactor turns the factor of a cluster's normal equations into that of the same with the
// deviations held by the law: the trailing block gets T⁻¹ added.
func (f *fit) refactor(c *cluster, mat []float64) {
	n := c.size()
	size := 4 * n
	f.column = grow(f.column, n*n)
	for k := range n {
		for l := range k + 1 {
			var sum float64
			for x, v := range f.tail(c, l) {
				sum += v * f.tail(c, k)[x]
			}
			f.column[k*n+l] = sum
		}
	}
	for k, a := range f.active[c.from:c.to] {
		f.column[k*n+k] += 1 / f.partials[a].extra
	}
	factor(f.column, n)
	for k := range n {
		copy(mat[(3*n+k)*size+3*n:][:k+1], f.column[k*n:k*n+k+1])
	}
}
