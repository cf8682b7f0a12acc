package simulate

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// A Goal is a bound of what a cell is to reach; a bound that is 0 is none.
type Goal struct {
	Moves    float64 // a string, at most
	OfRound  float64 // part of the moves of round and round, at most
	OnePass  float64 // of the instruments in tune after one pass, at least
	Covered  bool    // what is believed after a pass covers 93 to 97 % of the truth
	Forecast bool    // and what was forecast before it at least 85 %
}

// A Row is a cell with its goal.
type Row struct {
	Cell
	Goal Goal
}

// Slips of a peg and scatter of a hand, as the goals are set for.
const (
	slipPart = 0.1
	pegSigma = 0.3
)

// Rows returns the cells of the table for count instruments each, of slow kinds a quarter, in groups that
// share kind, start and flaws; the first of each is tuned round and round.
func Rows(count int, seed uint64, kinds ...string) ([][]Row, error) {
	var all [][]Row
	add := func(name string, start Start, flaws Flaws, slip float64, rest ...Row) error {
		k, err := KindOf(name)
		if err != nil {
			return err
		}
		if len(kinds) > 0 && !slices.Contains(kinds, name) {
			return nil
		}
		c := Cell{Kind: k, Told: k.Support, Start: start, Slip: slip, Peg: pegSigma, Flaws: flaws, Count: count, Seed: seed}
		if len(k.Strings) > 10 {
			c.Count = max(count/4, 1)
		}
		if len(k.Strings) > 40 {
			c.Count = max(count/40, 1)
		}
		round := c
		round.Way = Round
		group := []Row{{Cell: round}}
		for _, r := range rest {
			way, learned := r.Way, r.Learned
			r.Cell = c
			r.Way, r.Learned = way, learned
			group = append(group, r)
		}
		all = append(all, group)
		return nil
	}
	cell := func(way Way, learned int, g Goal) Row { return Row{Cell{Way: way, Learned: learned}, g} }
	covered := func(g Goal) Goal { g.Covered, g.Forecast = true, true; return g }
	strum := func(g Goal) Row { return cell(Strum, 0, covered(g)) }
	after := func(n int, g Goal) Row { return cell(Strum, n, covered(g)) }
	none := Flaws{}
	for _, err := range []error{
		add("floating bridge", Off30, none, slipPart, cell(Single, 0, Goal{}), strum(Goal{OfRound: 0.35}), after(2, Goal{Moves: 1.4})),
		add("floating bridge", Flat, none, slipPart, strum(Goal{OfRound: 0.25}), after(2, Goal{})),
		add("floating bridge", Chord, none, slipPart, strum(Goal{OfRound: 0.35}), after(2, Goal{Moves: 1.3})),
		add("floating bridge", Chord, none, 0, after(1, Goal{OnePass: 0.82}), after(2, Goal{OnePass: 0.88}), after(4, Goal{OnePass: 0.92})),
		add("banjo", Off30, none, slipPart, strum(Goal{Moves: 1.35}), after(2, Goal{})),
		add("banjo", Flat, none, slipPart, strum(Goal{OfRound: 0.6}), after(2, Goal{})),
		add("harp, 22 nylon", Off30, none, slipPart, strum(Goal{Moves: 1.23})),
		add("harp, 22 nylon", Flat, none, slipPart, strum(Goal{OfRound: 0.5})),
		add("harp, 22 nylon", Chord, none, slipPart, strum(Goal{OfRound: 1})),
		add("dulcimer, 30 courses", Off30, none, slipPart, strum(Goal{Moves: 1.23})),
		add("dulcimer, 30 courses", Flat, none, slipPart, strum(Goal{OfRound: 0.5})),
		add("dulcimer, 60 pegs", Flat, none, slipPart, strum(Goal{})),
		add("long neck, 4 steel", Chord, none, slipPart, strum(Goal{OfRound: 1})),
		add("guitar, fixed bridge", Off30, none, slipPart, strum(Goal{OfRound: 1})),
		add("guitar, fixed bridge", Chord, none, slipPart, strum(Goal{OfRound: 1}), after(2, Goal{OfRound: 1})),
		add("rigid", Off30, none, slipPart, strum(Goal{OfRound: 1.02})),
		add("floating bridge", Off30, Flaws{Friction: 0.05}, slipPart, strum(Goal{}), after(2, Goal{})),
		add("harp, 22 nylon", Off30, Flaws{Creep: 0.01, CreepLag: 40}, slipPart, strum(Goal{})),
	} {
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

// surely is how many standard errors a figure has to lie beyond its goal to have missed it.
const surely = 3

// Judge returns what the tally of a row misses, in words, beside that of the same instruments tuned round and
// round, if figures may lie beyond their goals by slack standard errors.
func (r Row) Judge(t, round Tally, slack float64) []string {
	var missed []string
	miss := func(format string, args ...any) { missed = append(missed, fmt.Sprintf(format, args...)) }
	g := r.Goal
	if g.Moves > 0 && t.Moves > g.Moves+slack*t.MoveSE {
		miss("%.2f moves a string, not %.2f", t.Moves, g.Moves)
	}
	if g.OfRound > 0 && t.Moves > g.OfRound*round.Moves+slack*se2(t.MoveSE, g.OfRound*round.MoveSE) {
		miss("%.0f %% of round and round, not %.0f %%", 100*t.Moves/round.Moves, 100*g.OfRound)
	}
	if g.OnePass > 0 && t.OnePass < g.OnePass-slack*partSE(g.OnePass, r.Count) {
		miss("%.0f %% in tune after one pass, not %.0f %%", 100*t.OnePass, 100*g.OnePass)
	}
	// Strings of one instrument err together, so its instruments are what is counted.
	if s := slack * partSE(0.95, r.Count); g.Covered && (t.After < 0.93-s || t.After > 0.97+s) {
		miss("%.1f %% covered after the pass, not 93 to 97 %%", 100*t.After)
	}
	if g.Forecast && t.Before < 0.85-slack*partSE(0.85, r.Count) {
		miss("%.1f %% covered before the pass, not 85 %%", 100*t.Before)
	}
	if r.Way != Round && t.OverLimit > 0 {
		miss("%.1f cents above its target, beyond the limit of %.0f", t.Highest, limitCents)
	}
	return missed
}

// Print runs the groups and writes them as a Markdown table, each row as it comes, and returns how many goals
// were missed.
func Print(w io.Writer, groups [][]Row) (missed int, err error) {
	fmt.Fprintln(w, "| instrument, start | way, sessions before | slips | moves a string | of round | in one pass | strings | covered after | before | highest, cents | goal |")
	fmt.Fprintln(w, "|---|---|--:|--:|--:|--:|--:|--:|--:|--:|---|")
	for _, group := range groups {
		var round Tally
		for i, r := range group {
			t, err := r.Run()
			if err != nil {
				return missed, fmt.Errorf("%s: %w", r.Cell, err)
			}
			if i == 0 {
				round = t
			}
			verdict := "–"
			if r.Goal != (Goal{}) {
				verdict = "reached"
			}
			if m := r.Judge(t, round, 0); len(m) > 0 {
				verdict = "within its error: " + strings.Join(m, "; ")
			}
			if m := r.Judge(t, round, surely); len(m) > 0 {
				missed += len(m)
				verdict = "missed: " + strings.Join(m, "; ")
			}
			fmt.Fprintln(w, r.line(t, round, verdict))
		}
	}
	return missed, nil
}

func (r Row) line(t, round Tally, verdict string) string {
	name := r.Kind.Name + ", " + string(r.Start)
	if r.Flaws.Friction > 0 {
		name += fmt.Sprintf(", friction %g", r.Flaws.Friction)
	}
	if r.Flaws.Creep > 0 {
		name += fmt.Sprintf(", creep %g %%", 100*r.Flaws.Creep)
	}
	if r.Way == Round {
		return fmt.Sprintf("| %s (%d) | %s | %g %% | %.2f ± %.2f | | | | | | %+.0f | |", name, r.Count, r.Way, 100*r.Slip, t.Moves, t.MoveSE, t.Highest)
	}
	way := fmt.Sprintf("%s, %d", r.Way, r.Learned)
	return fmt.Sprintf("| | %s | %g %% | %.2f ± %.2f | %.0f %% | %.0f %% | %.1f %% | %.1f %% | %.1f %% | %+.0f | %s |",
		way, 100*r.Slip, t.Moves, t.MoveSE, 100*t.Moves/round.Moves, 100*t.OnePass, 100*t.Strings, 100*t.After, 100*t.Before, t.Highest, verdict)
}
