package detune

import (
	"cmp"
	"errors"
	"math"

	"tunerd/internal/tension"
)

// A TradePoint is one plan between the chosen chords and the rest.
type TradePoint struct {
	Spare      float64          `json:"spare"`        // weight of the rest, 0 to 1
	PureRMS    float64          `json:"pure_rms"`     // root mean square of the pair errors of the chosen chords, cents
	PureWorst  float64          `json:"pure_worst"`   // their largest
	RestRMS    float64          `json:"other_rms"`    // the same of the rest
	RestWorst  float64          `json:"other_worst"`  //
	DamageRMS  float64          `json:"damage_rms"`   // RestRMS less that of the instrument as it is; below 0 the rest gains
	Cents      []float64        `json:"cents"`        // of each open string
	PureBeatHz float64          `json:"pure_beat_hz"` // fastest beat of the chosen chords' lowest coincident partials
	RestBeatHz float64          `json:"other_beat_hz"`
	Changes    []tension.Change `json:"-"` // what the strings bear by it
}

// Safe returns the points that put no string beyond the limit of tension, and the instrument as it is,
// which moves none; and the refusal of the first of the others, nil if there is none.
func Safe(points []TradePoint) (safe []TradePoint, refused error) {
	for _, t := range points {
		if err := tension.Refuse(t.Changes); err == nil || t.Spare < 0 {
			safe = append(safe, t)
		} else if refused == nil {
			refused = err
		}
	}
	return safe, refused
}

// Raised returns for every string the change of the point that tunes it highest.
func Raised(points []TradePoint) []tension.Change {
	sets := make([][]tension.Change, len(points))
	for i, t := range points {
		sets[i] = t.Changes
	}
	return tension.Highest(sets)
}

// spares are the weights of Explore: closer together near the ends, where the curve bends.
var spares = []float64{0, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 1}

// Explore returns plans from those that mind the chosen chords alone to those that mind the rest
// alone, by least squares, and before them the instrument as it is, with Spare below 0. No plan
// within the limits is better for the one without being worse for the other, in their mean squares.
func Explore(p Problem, rest []Chord) ([]TradePoint, error) {
	if len(rest) == 0 {
		return nil, errors.New("there are no other chords to set against the chosen ones")
	}
	p = p.withDefaults()
	p.Method, p.Rest = LeastSquares, rest
	if err := cmp.Or(p.check(), p.near()); err != nil {
		return nil, err
	}
	still := &Plan{Instrument: p.Instrument, Chords: p.Chords, Method: p.Method, PureBy: p.PureBy,
		Anchor: p.Anchor, Cents: make([]float64, len(p.Limits)), Measured: p.Measured}
	points := []TradePoint{still.tradePoint(-1, rest)}
	for _, spare := range spares {
		p.Spare = spare
		x, err := p.settle(p.bounds())
		if err != nil {
			return nil, err
		}
		plan := *still
		plan.Cents = x
		point := plan.tradePoint(spare, rest)
		point.DamageRMS = point.RestRMS - points[0].RestRMS
		points = append(points, point)
	}
	return points, nil
}

func (p *Plan) tradePoint(spare float64, rest []Chord) TradePoint {
	t := TradePoint{Spare: spare, Cents: p.Cents, Changes: p.Changes()}
	t.PureRMS, t.PureWorst, t.PureBeatHz = p.spread(p.Chords)
	t.RestRMS, t.RestWorst, t.RestBeatHz = p.spread(rest)
	return t
}

// spread returns the errors of all pairs of some chords after the plan.
func (p *Plan) spread(chords []Chord) (rms, worst, beatHz float64) {
	sum, weight := 0.0, 0.0
	beatHz = math.NaN()
	for _, c := range chords {
		r := p.Report(c)
		// Weight/notes for every pair makes the sum that of the notes about their mean, as it is minimised.
		w := c.Weight / float64(len(c.Notes)) * float64(len(r.Pairs))
		_, chordRMS := r.RMS()
		_, chordWorst := r.Worst()
		_, chordBeat := r.FastestBeat()
		sum += w * chordRMS * chordRMS
		weight += w
		worst, beatHz = max(worst, chordWorst), fmax(beatHz, chordBeat)
	}
	return math.Sqrt(sum / weight), worst, beatHz
}
