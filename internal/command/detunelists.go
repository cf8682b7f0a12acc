package command

import (
	"fmt"
	"strconv"

	"tunerd/internal/detune"
	"tunerd/internal/display/figure"
	"tunerd/internal/display/text"
	"tunerd/internal/tension"
)

// planHead says what the plan is one of.
func planHead(p *detune.Plan) *text.Listing {
	l := &text.Listing{Type: "detune", Columns: []text.Column{{Name: "instrument"}, {Name: "name"}, {Name: "tuning"}, {Name: "reference"},
		{Name: "method"}, {Name: "pure_by"}, {Name: "anchor"}}}
	l.Rows = [][]any{{p.Instrument.ID, p.Instrument.Name, p.Instrument.Tuning.String(), p.Instrument.Tuning.Reference().String(),
		string(p.Method), string(p.PureBy), known(float64(p.Anchor))}}
	return l
}

func planStringList(p *detune.Plan) *text.Listing {
	l := &text.Listing{Type: "plan_string", Columns: []text.Column{
		{Name: "string", Title: "string"}, {Name: "label", Title: "note"}, {Name: "cents", Title: "cents", Decimals: 2, Signed: true},
		{Name: "hz", Title: "tune to Hz", Decimals: 3}, {Name: "change_hz", Title: "by Hz", Decimals: 3, Signed: true},
		{Name: "now_hz", Title: "now Hz", Decimals: 3},
		{Name: "tension_now_n", Title: "tension N", Decimals: 1}, {Name: "tension_after_n", Title: "after N", Decimals: 1},
		{Name: "limit_share_now", Title: "part of limit", Decimals: 3}, {Name: "limit_share_after", Title: "after", Decimals: 3}, {Name: "limit_source"},
	}}
	for i, c := range p.Changes() {
		now, after := p.NowHz(i+1), p.AfterHz(i+1)
		l.Rows = append(l.Rows, []any{c.String, c.Label, p.Cents[i], after, after - now, now,
			c.Now.TensionN, c.After.TensionN, c.Now.Part(), c.After.Part(), c.After.Source})
	}
	return l
}

// obstacles says what stands in the way of the chords.
func (a *detuneAnswer) obstacles() error {
	if a.o.listing.json {
		l := &text.Listing{Type: "obstacle", Columns: []text.Column{{Name: "string"}, {Name: "needs_cents"}, {Name: "has_cents"}, {Name: "by_tension"}, {Name: "text"}}}
		for _, o := range a.plan.Obstacles {
			if o.String == 0 {
				l.Rows = append(l.Rows, []any{nil, nil, nil, false, o.Text})
			} else {
				l.Rows = append(l.Rows, []any{o.String, o.Needs, o.Has, o.ByLoad, o.Text})
			}
		}
		return l.WriteJSON(a.out)
	}
	if len(a.plan.Obstacles) > 0 {
		fmt.Fprintln(a.out, "\nNot all is pure; this plan comes nearest:")
	}
	for _, o := range a.plan.Obstacles {
		fmt.Fprintf(a.out, "  %s\n", o.Text)
	}
	return nil
}

// chord writes the pairs of one chord and its loudest coincident partials.
func (a *detuneAnswer) chord(r detune.ChordReport) error {
	before, after := r.Worst()
	a.head("\n%s as %s: worst pair %.2f cents before, %.2f after", namedFrets(r.Chord), r.Chord.Ratios, before, after)
	if err := a.o.listing.write(a.out, pairList(r)); err != nil {
		return err
	}
	partials := partialList(r)
	if a.o.listing.plain() && a.o.most > 0 && len(partials.Rows) > a.o.most {
		partials.Rows = partials.Rows[:a.o.most]
	}
	if len(partials.Rows) == 0 {
		return nil
	}
	a.head("coincident partials, the loudest first:")
	return a.o.listing.write(a.out, partials)
}

func namedFrets(c detune.Chord) string {
	if c.Name == "" {
		return c.FretText()
	}
	return c.Name + ", " + c.FretText()
}

func pairList(r detune.ChordReport) *text.Listing {
	l := &text.Listing{Type: "plan_pair", Columns: []text.Column{
		{Name: "chord"}, {Name: "low"}, {Name: "high"}, {Name: "strings", Title: "strings"}, {Name: "ratio", Title: "ratio"},
		{Name: "cents_before", Title: "cents", Decimals: 2, Signed: true}, {Name: "cents_after", Title: "after", Decimals: 2, Signed: true},
		{Name: "n", Title: "partial"}, {Name: "m", Title: "with"},
		{Name: "beat_hz_before", Title: "beats/s", Decimals: 2}, {Name: "beat_hz_after", Title: "after", Decimals: 2},
	}}
	for _, p := range r.Pairs {
		l.Rows = append(l.Rows, []any{r.Chord.String(), p.Low, p.High, twoStrings(p.Low, p.High), p.Ratio,
			p.CentsBefore, p.CentsAfter, known(float64(p.N)), known(float64(p.M)), p.BeatBefore, p.BeatAfter})
	}
	return l
}

func twoStrings(low, high int) string { return strconv.Itoa(low) + "+" + strconv.Itoa(high) }

func partialList(r detune.ChordReport) *text.Listing {
	l := &text.Listing{Type: "plan_partial", Columns: []text.Column{
		{Name: "chord"}, {Name: "rank", Title: "rank"}, {Name: "low"}, {Name: "high"}, {Name: "strings", Title: "strings"},
		{Name: "n", Title: "partial"}, {Name: "m", Title: "with"}, {Name: "hz", Title: "at Hz", Decimals: 1}, {Name: "level_db", Title: "dB", Decimals: 1},
		{Name: "beat_hz_before", Title: "beats/s", Decimals: 2}, {Name: "beat_hz_after", Title: "after", Decimals: 2},
	}}
	for i, p := range r.Partials {
		l.Rows = append(l.Rows, []any{r.Chord.String(), i + 1, p.Low, p.High, twoStrings(p.Low, p.High), p.N, p.M, p.Hz, p.LevelDB, p.BeatBefore, p.BeatAfter})
	}
	return l
}

// otherList writes what becomes of the other chords, those first that lose most; for a person only
// those that lose.
func (a *detuneAnswer) otherList() error {
	if len(a.others) == 0 {
		return nil
	}
	all := a.plan.ReportAll(a.others)
	if a.o.listing.json {
		return chordList(all).WriteJSON(a.out)
	}
	worse, better := 0, 0
	for i := range all {
		switch {
		case all[i].Worsens():
			worse++
		case all[i].Improves():
			better++
		}
	}
	a.head("\nof %d other chords %d get worse, %d better:", len(all), worse, better)
	shown := all[:worse]
	if a.o.most > 0 && worse > a.o.most {
		shown = all[:a.o.most]
		fmt.Fprintf(a.chat, "tunerd: the first %d of %d chords that get worse; --most 0 shows all\n", len(shown), worse)
	}
	if len(shown) == 0 {
		return nil
	}
	return chordList(shown).WriteTable(a.out)
}

func chordList(all []detune.ChordReport) *text.Listing {
	l := &text.Listing{Type: "other_chord", Columns: []text.Column{
		{Name: "chord"}, {Name: "name", Title: "name"}, {Name: "frets", Title: "frets"}, {Name: "ratios", Title: "as"},
		{Name: "rms_cents_before", Title: "rms cents", Decimals: 2}, {Name: "rms_cents_after", Title: "after", Decimals: 2},
		{Name: "worst_cents_before", Title: "worst cents", Decimals: 2}, {Name: "worst_cents_after", Title: "after", Decimals: 2},
		{Name: "beat_hz_before", Title: "fastest beats/s", Decimals: 2}, {Name: "beat_hz_after", Title: "after", Decimals: 2},
		{Name: "pairs"},
	}}
	for i := range all {
		r := &all[i]
		rmsBefore, rmsAfter := r.RMS()
		worstBefore, worstAfter := r.Worst()
		beatBefore, beatAfter := r.FastestBeat()
		l.Rows = append(l.Rows, []any{r.Chord.String(), r.Chord.Name, r.Chord.FretText(), r.Chord.Ratios,
			rmsBefore, rmsAfter, worstBefore, worstAfter, beatBefore, beatAfter, pairObjects(r.Pairs)})
	}
	return l
}

// A pairObject is one pair of another chord in JSON.
type pairObject struct {
	Low         int      `json:"low"`
	High        int      `json:"high"`
	Ratio       string   `json:"ratio"`
	CentsBefore float64  `json:"cents_before"`
	CentsAfter  float64  `json:"cents_after"`
	BeatBefore  *float64 `json:"beat_hz_before"`
	BeatAfter   *float64 `json:"beat_hz_after"`
}

func pairObjects(pairs []detune.PairReport) []pairObject {
	all := make([]pairObject, len(pairs))
	for i, p := range pairs {
		all[i] = pairObject{Low: p.Low, High: p.High, Ratio: p.Ratio, CentsBefore: p.CentsBefore, CentsAfter: p.CentsAfter}
		if p.N > 0 {
			all[i].BeatBefore, all[i].BeatAfter = &p.BeatBefore, &p.BeatAfter
		}
	}
	return all
}

// explore writes the trade-off curve.
func (a *detuneAnswer) explore(problem *detune.Problem) error {
	points, err := detune.Explore(*problem, a.others)
	if err != nil {
		return farHint(err)
	}
	if points, err = a.safe(points); err != nil {
		return err
	}
	if a.o.svg.given() {
		if err := a.o.svg.writeSVG(a.chat, tradePlot(problem, points).Draw()); err != nil {
			return err
		}
	}
	a.head("%s: errors in cents of the chosen chords and of %d others, for every --spare", problem.Instrument.Name, len(a.others))
	if words := tension.Short(detune.Raised(points)); words != "" {
		if err := a.caution([]string{words, tension.Advice}); err != nil {
			return err
		}
	}
	return a.o.listing.write(a.out, tradeList(points))
}

// safe leaves out the plans that are refused, and says so.
func (a *detuneAnswer) safe(points []detune.TradePoint) ([]detune.TradePoint, error) {
	if a.o.risk.accepted {
		return points, nil
	}
	safe, refused := detune.Safe(points)
	if refused != nil && len(safe) < 2 {
		return nil, hintf(refused, "--accept-risk shows the plans all the same")
	}
	if refused != nil {
		fmt.Fprintf(a.chat, "tunerd: %d of %d plans are left out, as of the first of them %v; --accept-risk shows them\n", len(points)-len(safe), len(points), refused)
	}
	return safe, nil
}

func tradeList(points []detune.TradePoint) *text.Listing {
	l := &text.Listing{Type: "trade_off", Columns: []text.Column{
		{Name: "spare", Title: "spare"}, {Name: "chosen_rms_cents", Title: "chosen rms", Decimals: 2}, {Name: "chosen_worst_cents", Title: "worst", Decimals: 2},
		{Name: "chosen_beat_hz", Title: "beats/s", Decimals: 2},
		{Name: "rest_rms_cents", Title: "others rms", Decimals: 2}, {Name: "rest_worst_cents", Title: "worst", Decimals: 2},
		{Name: "rest_beat_hz", Title: "beats/s", Decimals: 2}, {Name: "damage_cents", Title: "damage", Decimals: 2, Signed: true},
		{Name: "cents", Title: "cents of strings 1 to last", Decimals: 1, Signed: true},
		{Name: "limit_share_after", Title: "most of limit", Decimals: 3},
	}}
	for _, p := range points {
		l.Rows = append(l.Rows, []any{spareWords(p.Spare), p.PureRMS, p.PureWorst, p.PureBeatHz, p.RestRMS, p.RestWorst, p.RestBeatHz, p.DamageRMS, p.Cents, tension.MostPart(p.Changes)})
	}
	return l
}

// spareWords names a point of the curve; the instrument as it is has none.
func spareWords(spare float64) string {
	if spare < 0 {
		return "as it is"
	}
	return strconv.FormatFloat(spare, 'g', -1, 64)
}

func tradePlot(problem *detune.Problem, points []detune.TradePoint) figure.TradePlot {
	p := figure.TradePlot{Title: problem.Instrument.Name + ": " + problem.Chords[0].String() + " against other chords",
		Across: "rms error of the chosen chords, cents; at the points: --spare", Up: "rms error of the others, cents"}
	for _, t := range points {
		point := figure.TradePoint{X: t.PureRMS, Y: t.RestRMS, Label: spareWords(t.Spare)}
		if t.Spare < 0 {
			p.Apart, p.HasApart = point, true
			continue
		}
		p.Points = append(p.Points, point)
	}
	return p
}
