package bench

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"tunerd/internal/detune"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

const maxOthers = 200 // reports in an answer

// A detuneRequest asks for a plan.
type detuneRequest struct {
	Instrument string        `json:"instrument"`
	Tuning     string        `json:"tuning"`
	Reference  string        `json:"reference"`
	From       []float64     `json:"from"`   // cents of the open strings as they are now; empty: as the tuning has them
	Chords     []string      `json:"chords"` // as detune.ParseChord reads them
	Others     []string      `json:"others"` // more chords to report on
	Common     *string       `json:"common"` // chords all of whose shapes are reported on
	Spare      float64       `json:"spare"`
	Anchor     int           `json:"anchor"`
	LimitCents *float64      `json:"limit_cents"`
	Limits     []stringLimit `json:"limits"` // of single strings
	Method     string        `json:"method"`
	PureBy     string        `json:"pure_by"`
	Explore    bool          `json:"explore"`
	AcceptFar  bool          `json:"accept_far"`  // also chords that start far from what they are to be
	AcceptRisk bool          `json:"accept_risk"` // also a plan beyond the limit of tension
}

type stringLimit struct {
	String int     `json:"string"`
	Down   float64 `json:"down"`
	Up     float64 `json:"up"`
}

type detuneAnswer struct {
	Plan        Plan              `json:"plan"`
	Strings     []stringChange    `json:"strings"`
	Chords      []chordChange     `json:"chords"`
	Others      []chordChange     `json:"others"`
	OthersTotal int               `json:"others_total"`
	Obstacles   []detune.Obstacle `json:"obstacles"`
	Cautions    []string          `json:"cautions"`
	Trade       []tradePoint      `json:"trade"`
	TradeLeft   int               `json:"trade_left_out"` // plans beyond the limit of tension
}

type stringChange struct {
	String         int     `json:"string"`
	Label          string  `json:"label"`
	Cents          float64 `json:"cents"`
	HzBefore       float64 `json:"hz_before"`
	HzAfter        float64 `json:"hz_after"`
	TensionNBefore float64 `json:"tension_n_before"`
	TensionNAfter  float64 `json:"tension_n_after"`
	ShareBefore    float64 `json:"limit_share_before"`
	ShareAfter     float64 `json:"limit_share_after"`
}

type chordChange struct {
	Chord             string              `json:"chord"`
	Frets             []int               `json:"frets"`
	Ratios            string              `json:"ratios"`
	RMSBefore         float64             `json:"rms_before"`
	RMSAfter          float64             `json:"rms_after"`
	WorstBefore       float64             `json:"worst_before"`
	WorstAfter        float64             `json:"worst_after"`
	FastestBeatBefore float64             `json:"fastest_beat_before"`
	FastestBeatAfter  float64             `json:"fastest_beat_after"`
	LossCents         float64             `json:"loss_cents"`
	Pairs             []detune.PairReport `json:"pairs"`
}

type tradePoint struct {
	detune.TradePoint
	MostPart float64 `json:"limit_share_after"` // of any string
	Caution  string  `json:"caution"`
}

func (b *Bench) postDetune(r *asked) (any, error) {
	var req detuneRequest
	if err := r.read(&req); err != nil {
		return nil, err
	}
	in, err := b.cfg.Catalog.tunedAs(req.Instrument, tunedAs{tuning: req.Tuning, reference: req.Reference, plan: req.From})
	if err != nil {
		return nil, err
	}
	var answer *detuneAnswer
	err = b.alone(r, func() (err error) {
		answer, err = req.solve(r.ctx, in)
		return err
	})
	return answer, err
}

func (req *detuneRequest) solve(ctx context.Context, in *targets.Instrument) (*detuneAnswer, error) {
	p, err := req.problem(in)
	if err != nil {
		return nil, err
	}
	others, err := req.others(ctx, in)
	if err != nil {
		return nil, err
	}
	if req.Spare > 0 {
		p.Rest = others
	}
	plan, err := detune.Solve(p)
	if far := (*detune.FarError)(nil); errors.As(err, &far) {
		return nil, Refusal{statusInvalid, codeFar, err.Error()}
	}
	if err != nil {
		return nil, err
	}
	if err := refuseRisk(plan.Changes(), req.AcceptRisk); err != nil {
		return nil, err
	}
	answer := newDetuneAnswer(plan, others)
	for i, c := range req.From { // the plan counts from the tuning
		answer.Plan.Cents[i] += c
	}
	if !req.Explore || len(others) == 0 {
		return answer, nil
	}
	points, err := detune.Explore(p, others)
	if err != nil {
		return nil, err
	}
	if !req.AcceptRisk {
		safe, _ := detune.Safe(points)
		answer.TradeLeft, points = len(points)-len(safe), safe
	}
	for _, t := range points {
		answer.Trade = append(answer.Trade, tradePoint{t, tension.MostPart(t.Changes), tension.Short(t.Changes)})
	}
	return answer, nil
}

func (req *detuneRequest) problem(in *targets.Instrument) (detune.Problem, error) {
	p := detune.Problem{
		Instrument: in, Spare: req.Spare, Anchor: req.Anchor, AcceptFar: req.AcceptFar,
		Method: detune.Method(req.Method), PureBy: detune.Purity(req.PureBy), Limits: make([]detune.Limit, len(in.Strings)),
	}
	wide := float64(detune.DefaultLimit)
	if req.LimitCents != nil {
		wide = *req.LimitCents
	}
	for i := range p.Limits {
		p.Limits[i] = detune.Limit{Down: wide, Up: wide}
	}
	for _, l := range req.Limits {
		if l.String < 1 || l.String > len(p.Limits) {
			return p, fmt.Errorf("limits: string %d; %s has strings 1 to %d", l.String, in.Name, len(p.Limits))
		}
		p.Limits[l.String-1] = detune.Limit{Down: l.Down, Up: l.Up}
	}
	var err error
	p.Chords, err = parseShapes(in, req.Chords)
	return p, err
}

func parseShapes(in *targets.Instrument, texts []string) ([]detune.Chord, error) {
	var chords []detune.Chord
	for _, t := range texts {
		c, err := detune.ParseChord(in, t)
		if err != nil {
			return nil, err
		}
		chords = append(chords, c)
	}
	return chords, nil
}

// others returns the chords that are reported on beside those to be made pure.
func (req *detuneRequest) others(ctx context.Context, in *targets.Instrument) ([]detune.Chord, error) {
	given, err := parseShapes(in, req.Others)
	if err != nil {
		return nil, err
	}
	common := detune.CommonChords
	if req.Common != nil {
		common = *req.Common
	}
	if common == "" {
		return given, nil
	}
	chords, err := targets.ParseChords(common)
	if err != nil {
		return nil, err
	}
	shapes, err := detune.CommonShapes(ctx, in, chords)
	if err != nil && req.Common == nil && ctx.Err() == nil {
		return given, nil // nobody has asked for shapes, and without lengths, as of a harp, none can be found
	}
	return append(given, shapes...), err
}

func newDetuneAnswer(plan *detune.Plan, others []detune.Chord) *detuneAnswer {
	a := &detuneAnswer{
		Plan: Plan{Cents: slices.Clone(plan.Cents)}, Chords: []chordChange{}, Others: []chordChange{}, OthersTotal: len(others),
		Obstacles: []detune.Obstacle{}, Cautions: []string{}, Trade: []tradePoint{},
	}
	changes := plan.Changes()
	for i, c := range changes {
		a.Strings = append(a.Strings, stringChange{
			c.String, c.Label, plan.Cents[i], plan.NowHz(i + 1), plan.AfterHz(i + 1),
			c.Now.TensionN, c.After.TensionN, c.Now.Part(), c.After.Part(),
		})
	}
	for i, c := range plan.Chords {
		r := plan.Report(c)
		a.Chords = append(a.Chords, newChordChange(&r))
		if i > 0 {
			a.Plan.Name += ", "
		}
		a.Plan.Name += c.String()
	}
	a.Plan.Name = shortName(a.Plan.Name)
	for _, r := range plan.ReportAll(others)[:min(maxOthers, len(others))] {
		a.Others = append(a.Others, newChordChange(&r))
	}
	a.Obstacles = append(a.Obstacles, plan.Obstacles...)
	a.Cautions = append(a.Cautions, tension.Cautions(changes)...)
	return a
}

// shortName cuts the name of a plan for many chords to what a plan's name may be.
func shortName(name string) string {
	if runes := []rune(name); len(runes) > maxPlanName {
		return string(runes[:maxPlanName-2]) + " …"
	}
	return name
}

func newChordChange(r *detune.ChordReport) chordChange {
	c := chordChange{Chord: r.Chord.String(), Frets: r.Chord.Frets, Ratios: r.Chord.Ratios, LossCents: r.Loss(), Pairs: append([]detune.PairReport{}, r.Pairs...)}
	c.RMSBefore, c.RMSAfter = r.RMS()
	c.WorstBefore, c.WorstAfter = r.Worst()
	c.FastestBeatBefore, c.FastestBeatAfter = r.FastestBeat()
	return c
}
