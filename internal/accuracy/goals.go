package accuracy

import (
	"fmt"
	"math"
)

// A pluckGoal says how soon a plucked string must be read how well. Zero is no goal.
type pluckGoal struct {
	first, cent, tenth float64             // s until 95 in 100 have a reading, are within 1 and 0.1 cent and stay there
	settled            map[float64]float64 // cents RMS of the settled pitch, by time in s after the pluck
}

// pluckGoals are the goals of a clean pluck by note; within 0.1 cent at 40 dB.
var pluckGoals = map[string]pluckGoal{
	"A4": {cent: 0.015, tenth: 0.035},
	"E2": {cent: 0.030, tenth: 0.060, settled: map[float64]float64{0.25: 0.1, 0.4: 0.03}},
	"B0": {cent: 0.060, tenth: 0.130, settled: map[float64]float64{0.25: 0.25, 0.4: 0.05}},
}

const (
	lockShare    = 0.95
	attackNoiseS = 0.02          // later where noise sounds with the pluck, s
	readingS     = 512.0 / 48000 // between readings, which a first reading may have to wait for, s
)

// goal is the pluck's own: a first reading comes within two periods.
func (p Pluck) goal() pluckGoal {
	g := pluckGoals[p.Name]
	if p.Glide {
		return pluckGoal{settled: g.settled}
	}
	g.first, g.settled = 2/p.Hz+readingS, nil
	if p.Attack {
		g.first, g.cent = g.first+attackNoiseS, g.cent+attackNoiseS
	}
	if p.Attack || p.SNRdB < 40 {
		g.tenth = 0
	}
	return g
}

// Goals are what an estimator is to reach. A goal is missed only by more than chance explains:
// three standard errors of the figure at the number of trials that were run.
type Goals struct {
	Ratio, PooledRatio       float64    // RMSE over the bound, where the model holds; per cell, and over all
	Coverage, PooledCoverage [2]float64 // of ±1.96σ, matched model; least and most
	EffectCoverage           float64    // least, with an effect outside the model; over all its cells
	RoomCoverage             float64    // least, with a room
	Bias                     float64    // cents, most, where the model holds, at BiasSNR and BiasWindow or more
	BiasSNR, BiasWindow      float64    // dB, s
	Gross                    int        // most gross errors, per cell and register
	Periods, GrossPeriods    float64    // shorter windows are not judged for ratio and coverage, for gross errors
}

// DefaultGoals are those of the project: near the bound, and honest about it.
func DefaultGoals() Goals {
	return Goals{
		Ratio: 1.25, PooledRatio: 1.1,
		Coverage: [2]float64{0.90, 1}, PooledCoverage: [2]float64{0.93, 0.97},
		EffectCoverage: 0.90, RoomCoverage: 0.80,
		Bias: 0.01, BiasSNR: 40, BiasWindow: 0.2,
		Periods: leastPeriods, GrossPeriods: 3.5,
	}
}

// A Failure is one goal that was missed.
type Failure struct {
	Where, What string
	Got, Want   float64
}

func (f Failure) String() string {
	return fmt.Sprintf("%s: %s %.4g, want %.4g", f.Where, f.What, f.Got, f.Want)
}

// A Pool sums up several cells. RMSE, in cents, and Ratio leave gross errors out and weigh every
// other reading alike; Ratio is the root of the mean of (error/bound)².
type Pool struct {
	Name                                 string
	Trials, Read, Gross, Octave, Covered int
	RMSE, Ratio                          float64
	usable                               int
	errors, ratios                       float64 // sums of squares
	outside                              bool    // an effect outside the estimator's model
	room                                 bool
}

// Coverage is the part of the readings whose ±1.96σ holds the truth.
func (p Pool) Coverage() float64 { return float64(p.Covered) / float64(p.Read) }

func (p *Pool) add(r Result) {
	p.Trials += r.Trials
	p.Read += r.Read
	p.Gross += r.Gross
	p.Octave += r.Octave
	p.Covered += r.Covered
	if n := r.Read - r.Gross; n > 0 {
		p.usable += n
		p.errors += float64(n) * r.RMSE * r.RMSE
		p.ratios += float64(n) * r.Ratio() * r.Ratio()
		p.RMSE, p.Ratio = math.Sqrt(p.errors/float64(p.usable)), math.Sqrt(p.ratios/float64(p.usable))
	}
}

// Pools sums up the cells of at least g.Periods periods: all of the matched model, then each
// condition.
func (rep *Report) Pools(g Goals) []Pool {
	var pools []Pool
	at := map[string]int{}
	for _, r := range rep.Results {
		if r.Periods() < g.Periods {
			continue
		}
		name := r.Condition.Name
		if name == "" {
			name = "matched model"
		}
		i, known := at[name]
		if !known {
			i = len(pools)
			at[name] = i
			pools = append(pools, Pool{Name: name, room: r.Condition.Room, outside: r.Condition.outside()})
		}
		pools[i].add(r)
	}
	return pools
}

// coverageGoal is the least and the most coverage asked of a pool.
func (p Pool) coverageGoal(g Goals) [2]float64 {
	switch {
	case p.room:
		return [2]float64{g.RoomCoverage, 1}
	case p.outside:
		return [2]float64{g.EffectCoverage, 1}
	}
	return g.PooledCoverage
}

func (c Condition) outside() bool { return c.Name != "" && !c.Model }

// Failures lists the goals that were missed.
func (rep *Report) Failures(g Goals) []Failure {
	var fails []Failure
	for _, r := range rep.Results {
		if r.Periods() >= g.Periods && !r.Condition.outside() {
			fails = append(fails, judge(r.String(), r.Ratio(), r.Read-r.Gross, g.Ratio, r.Coverage(), r.Read, g.Coverage)...)
		}
		if n := float64(r.Read - r.Gross); g.biasCounts(r) && math.Abs(r.Bias) > g.Bias+3*r.RMSE/math.Sqrt(n) {
			fails = append(fails, Failure{r.String(), "bias, cents", r.Bias, g.Bias})
		}
		if r.Periods() >= g.GrossPeriods {
			fails = append(fails, g.lost(r.String(), r.Trials, r.Read, r.Gross)...)
		}
	}
	for _, p := range rep.Pools(g) {
		ratio := g.PooledRatio
		if p.outside {
			ratio = math.Inf(1)
		}
		fails = append(fails, judge(p.Name+", all cells", p.Ratio, p.usable, ratio, p.Coverage(), p.Read, p.coverageGoal(g))...)
	}
	for _, r := range rep.Registers {
		fails = append(fails, g.lost(r.String(), r.Trials, r.Read, r.Gross)...)
	}
	for _, r := range rep.Plucks {
		fails = append(fails, r.failures()...)
	}
	return fails
}

// lost judges what was not read, or read as another note.
func (g Goals) lost(where string, trials, read, gross int) []Failure {
	var fails []Failure
	if read < trials {
		fails = append(fails, Failure{where, "readings", float64(read), float64(trials)})
	}
	if gross > g.Gross {
		fails = append(fails, Failure{where, "gross errors", float64(gross), float64(g.Gross)})
	}
	return fails
}

// failures judges the times and the glide. A share of n trials is uncertain by √(p(1−p)/n), so 95
// in 100 is asked for less three of these.
func (r PluckResult) failures() []Failure {
	goal, n := r.goal(), float64(r.Trials())
	share := lockShare - 3*math.Sqrt(lockShare*(1-lockShare)/n)
	var fails []Failure
	judge := func(what string, got, want float64) {
		if want > 0 && !(got <= want) {
			fails = append(fails, Failure{r.String(), what, got, want})
		}
	}
	judge("first reading after s", r.First(share), goal.first)
	judge("within 1 cent after s", r.Within(1, share), goal.cent)
	judge("within 0.1 cent after s", r.Within(0.1, share), goal.tenth)
	for _, age := range GlideAges {
		s := r.At(age)
		chance := 1 + 3/math.Sqrt(2*float64(s.Read))
		judge(fmt.Sprintf("settled pitch at %g ms, cents RMS", 1000*age), s.RMSE/chance, goal.settled[age])
	}
	return fails
}

func (g Goals) biasCounts(r Result) bool {
	return !r.Condition.outside() && r.SNRdB >= g.BiasSNR && r.WindowS >= g.BiasWindow
}

// judge compares a ratio of n and a coverage of m readings with their goals. The relative standard
// error of an RMS is 1/√(2n), that of a share p is √(p(1−p)/m).
func judge(where string, ratio float64, n int, most, coverage float64, m int, limits [2]float64) []Failure {
	var fails []Failure
	if ratio > most*(1+3/math.Sqrt(2*float64(n))) {
		fails = append(fails, Failure{where, "RMSE over the bound", ratio, most})
	}
	slack := func(p float64) float64 { return 3 * math.Sqrt(p*(1-p)/float64(m)) }
	if coverage < limits[0]-slack(limits[0]) {
		fails = append(fails, Failure{where, "coverage", coverage, limits[0]})
	}
	if coverage > limits[1]+slack(limits[1]) {
		fails = append(fails, Failure{where, "coverage", coverage, limits[1]})
	}
	return fails
}
