package detune

import (
	"fmt"
	"math"
)

// An Obstacle is something that keeps a chord from being pure.
type Obstacle struct {
	String int     `json:"string"`      // that would have to move farther; 0: chords contradict one another
	Needs  float64 `json:"needs_cents"` // cents that it would have to be moved by
	Has    float64 `json:"has_cents"`   // cents that it may be moved by
	ByLoad bool    `json:"by_load"`     // the limit is one of tension
	Text   string  `json:"text"`
}

// missed is by how many cents a note may be off and still be met.
const missed = 0.01

// obstacles says what stands in the way of the chords, if they are not all met.
func (p *Problem) obstacles(x []float64) ([]Obstacle, error) {
	demands, err := p.demands(p.Chords, x)
	if err != nil {
		return nil, err
	}
	met := true
	for _, d := range demands {
		for _, off := range d.errors(x) {
			met = met && math.Abs(off) <= missed
		}
	}
	if met {
		return nil, nil
	}
	atLimit, err := p.limitObstacles(x)
	if err != nil {
		return nil, err
	}
	return append(atLimit, p.contradictions(demands)...), nil
}

// limitObstacles names the strings at a limit that they would pass if there were none.
func (p *Problem) limitObstacles(x []float64) ([]Obstacle, error) {
	bounds := p.bounds()
	free := make([]bound, len(bounds))
	for i := range free {
		if i+1 != p.Anchor {
			free[i] = bound{-1200, 1200, false}
		}
	}
	wanted, err := p.settle(free)
	if err != nil {
		return nil, err
	}
	var found []Obstacle
	for i, b := range bounds {
		o := Obstacle{String: i + 1, Needs: wanted[i]}
		switch label := p.Instrument.Strings[i].Open.Label; {
		case x[i] >= b.hi-1e-6 && wanted[i] > b.hi+missed:
			o.Has, o.ByLoad = b.hi, b.byLoad
			o.Text = fmt.Sprintf("string %d (%s) would have to rise by %.2f cents; %s %.2f", i+1, label, o.Needs, limitWords(b.byLoad), o.Has)
		case x[i] <= b.lo+1e-6 && wanted[i] < b.lo-missed:
			o.Has = b.lo
			o.Text = fmt.Sprintf("string %d (%s) would have to fall by %.2f cents; the limit is %.2f", i+1, label, -o.Needs, -o.Has)
		default:
			continue
		}
		found = append(found, o)
	}
	return found, nil
}

func limitWords(byLoad bool) string {
	if byLoad {
		return "the tension limit allows"
	}
	return "the limit is"
}

// contradictions finds chords that ask for what the chords before them rule out. Every chord ties
// its strings to one another; a tie between strings that are tied already must agree.
func (p *Problem) contradictions(demands []demand) []Obstacle {
	ties := newTies(len(p.Instrument.Strings))
	var found []Obstacle
	for _, d := range demands {
		first := d.notes[0]
		for _, n := range d.notes[1:] {
			wanted := first.base - n.base // x of n minus x of first
			tied, fixed := ties.tie(first.str, n.str, wanted)
			if tied && math.Abs(wanted-fixed) > missed {
				found = append(found, Obstacle{Text: fmt.Sprintf(
					"chord %s wants string %d moved by %+.2f cents against string %d, the chords before it by %+.2f",
					d.chord.String(), n.str+1, hundredths(wanted), first.str+1, hundredths(fixed))})
			}
		}
	}
	return found
}

// hundredths rounds for display, so that what is nothing has no sign.
func hundredths(cents float64) float64 { return math.Round(cents*100)/100 + 0 }

// ties are strings whose moves are tied together by a difference.
type ties struct {
	parent []int
	above  []float64 // the move of a string minus that of its parent
}

func newTies(n int) *ties {
	t := &ties{make([]int, n), make([]float64, n)}
	for i := range t.parent {
		t.parent[i] = i
	}
	return t
}

func (t *ties) root(i int) (root int, above float64) {
	for t.parent[i] != i {
		above += t.above[i]
		i = t.parent[i]
	}
	return i, above
}

// tie sets the move of b minus that of a, unless they are tied already, and returns whether they
// were and by how much.
func (t *ties) tie(a, b int, difference float64) (tied bool, fixed float64) {
	rootA, aboveA := t.root(a)
	rootB, aboveB := t.root(b)
	if rootA == rootB {
		return true, aboveB - aboveA
	}
	t.parent[rootB], t.above[rootB] = rootA, aboveA+difference-aboveB
	return false, difference
}
