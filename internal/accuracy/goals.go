package accuracy

import (
	"fmt"
	"math"
)

// Goals are what an estimator is to reach. A goal is missed only by more than chance explains:
// three standard errors of the figure at the number of trials that were run.
type Goals struct {
	Ratio, PooledRatio       float64    // RMSE over the bound, where the model holds; per cell, and over all
	Coverage, PooledCoverage [2]float64 // of ±1.96σ, matched model; least and most
	EffectCoverage           float64    // least, with an effect outside the model; over all its cells
	RoomCoverage             float64    // least, with a room
	Gross                    int        // most gross errors over all cells
	Periods, GrossPeriods    float64    // shorter windows are not judged for ratio and coverage, for gross errors
}

// DefaultGoals are those of the project: near the bound, and honest about it.
func DefaultGoals() Goals {
	return Goals{
		Ratio: 1.25, PooledRatio: 1.1,
		Coverage: [2]float64{0.90, 1}, PooledCoverage: [2]float64{0.93, 0.98},
		EffectCoverage: 0.90, RoomCoverage: 0.80,
		Periods: 3, GrossPeriods: 3.5,
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

func (c Condition) outside() bool { return c.Name != "" && !c.Model }

// Failures lists the goals that were missed.
func (rep *Report) Failures(g Goals) []Failure {
	var fails []Failure
	gross := 0
	for _, r := range rep.Results {
		if r.Periods() >= g.GrossPeriods {
			gross += r.Gross
		}
		if r.Periods() >= g.Periods && !r.Condition.outside() {
			fails = append(fails, judge(r.String(), r.Ratio(), r.Read-r.Gross, g.Ratio, r.Coverage(), r.Read, g.Coverage)...)
		}
		if r.Read < r.Trials && r.Periods() >= g.GrossPeriods {
			fails = append(fails, Failure{r.String(), "readings", float64(r.Read), float64(r.Trials)})
		}
	}
	for _, p := range rep.Pools(g) {
		ratio, coverage := g.PooledRatio, g.PooledCoverage
		switch {
		case p.room:
			ratio, coverage = math.Inf(1), [2]float64{g.RoomCoverage, 1}
		case p.outside:
			ratio, coverage = math.Inf(1), [2]float64{g.EffectCoverage, 1}
		}
		fails = append(fails, judge(p.Name+", all cells", p.Ratio, p.usable, ratio, p.Coverage(), p.Read, coverage)...)
	}
	if gross > g.Gross {
		fails = append(fails, Failure{"all cells", "gross errors", float64(gross), float64(g.Gross)})
	}
	return fails
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
