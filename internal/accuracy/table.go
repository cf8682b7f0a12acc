package accuracy

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// WriteMarkdown writes the report as tables: the goals and what was reached, the windows summed up by
// condition, gross errors, plucks, every cell, and the goals that were missed.
func (rep *Report) WriteMarkdown(w io.Writer, g Goals) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Seed %d, %d trials a cell, %g Hz. Cents of partial 1. The bound is Cramér–Rao with B and decays unknown; "+
		"RMSE and bias without gross errors (over %d cents); coverage of ±1.96σ.\n", rep.Config.Seed, rep.Config.Trials, rep.Config.SampleRate, grossCents)
	if len(rep.Results) > 0 {
		rep.writeGoals(&b, g)
		rep.writePools(&b, g)
	}
	if len(rep.Registers) > 0 {
		rep.writeRegisters(&b)
	}
	if len(rep.Plucks) > 0 {
		rep.writePlucks(&b)
		rep.writeGlides(&b)
	}
	if len(rep.Results) > 0 {
		rep.writeCells(&b)
	}
	fails := rep.Failures(g)
	fmt.Fprintf(&b, "\n## Goals missed: %d\n\n", len(fails))
	for _, f := range fails {
		fmt.Fprintf(&b, "- %v\n", f)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// writeGoals sets the goals for windows beside the figures that come nearest to missing them. Where
// the model holds means the matched model, every stiffness, fast decay and a weak fundamental.
func (rep *Report) writeGoals(b *strings.Builder, g Goals) {
	var worst, biased Result
	trials, gross, octave := 0, 0, 0
	for _, r := range rep.Results {
		if r.Periods() >= g.GrossPeriods {
			trials, gross, octave = trials+r.Trials, gross+r.Gross, octave+r.Octave
		}
		if r.Condition.outside() || r.Periods() < g.Periods {
			continue
		}
		if worst.Trials == 0 || r.Ratio() > worst.Ratio() {
			worst = r
		}
		if g.biasCounts(r) && math.Abs(r.Bias) > math.Abs(biased.Bias) {
			biased = r
		}
	}
	for _, r := range rep.Registers {
		trials, gross, octave = trials+r.Trials, gross+r.Gross, octave+r.Octave
	}
	fmt.Fprintf(b, "\n## Goals for windows\n\n")
	table(b, "goal", "asked", "reached")
	for _, p := range rep.Pools(g) {
		if !p.outside {
			row(b, "RMSE over the bound, "+p.Name, "≤ "+digits(g.PooledRatio), digits(p.Ratio))
		}
	}
	row(b, "the same in the worst cell, "+worst.String(), "≤ "+digits(g.Ratio), digits(worst.Ratio()))
	row(b, fmt.Sprintf("largest bias at %g dB and %g ms or more, %v", g.BiasSNR, 1000*g.BiasWindow, biased.Cell),
		"< "+digits(g.Bias)+" cent", digits(math.Abs(biased.Bias)))
	for _, p := range rep.Pools(g) {
		asked := p.coverageGoal(g)
		row(b, "coverage, "+p.Name, fmt.Sprintf("%g–%g %%", 100*asked[0], 100*asked[1]), percent(p.Coverage())+" %")
	}
	row(b, fmt.Sprintf("gross errors of %d trials; at the octave", trials), "0; 0", fmt.Sprintf("%d; %d", gross, octave))
}

func (rep *Report) writePools(b *strings.Builder, g Goals) {
	fmt.Fprintf(b, "\n## Over all cells of at least %g periods\n\n", g.Periods)
	table(b, "condition", "trials", "RMSE", "RMSE/bound", "coverage %", "gross", "octave", "no reading")
	for _, p := range rep.Pools(g) {
		row(b, p.Name, p.Trials, digits(p.RMSE), digits(p.Ratio), percent(p.Coverage()), p.Gross, p.Octave, p.Trials-p.Read)
	}
}

func (rep *Report) writeCells(b *strings.Builder) {
	fmt.Fprintf(b, "\n## Every cell\n\n")
	table(b, "note", "window ms", "SNR dB", "condition", "bound", "RMSE", "RMSE/bound", "bias", "median σ", "coverage %", "gross", "octave", "no reading")
	for _, r := range rep.Results {
		row(b, r.Name, 1000*r.WindowS, r.SNRdB, r.Condition.Name, digits(r.BoundCents), digits(r.RMSE), digits(r.Ratio()),
			digits(r.Bias), digits(r.MedianSigma), percent(r.Coverage()), r.Gross, r.Octave, r.Trials-r.Read)
	}
}

func (rep *Report) writeRegisters(b *strings.Builder) {
	fmt.Fprintf(b, "\n## Gross errors\n\nAny pitch of the register, 10 to 40 dB, windows of 3.5 to 7 periods of its lowest pitch.\n\n")
	table(b, "register", "Hz", "string", "trials", "gross", "octave", "no reading")
	for _, r := range rep.Registers {
		row(b, r.Name, fmt.Sprintf("%g–%g", r.MinHz, r.MaxHz), r.Kind, r.Trials, r.Gross, r.Octave, r.Trials-r.Read)
	}
}

func (rep *Report) writePlucks(b *strings.Builder) {
	fmt.Fprintf(b, "\n## From the pluck\n\nTimes after which 95 in 100 readings are, and stay, near; target known. The goal of a first reading is two periods and a hop.\n\n")
	table(b, "pluck", "first reading ms", "goal", "±1 cent ms", "goal", "±0.1 cent ms", "goal")
	for _, r := range rep.Plucks {
		if goal := r.goal(); !r.Glide {
			row(b, r.String(), ms(r.First(lockShare)), ms(goal.first), ms(r.Within(1, lockShare)), ms(goal.cent), ms(r.Within(0.1, lockShare)), ms(goal.tenth))
		}
	}
}

func (rep *Report) writeGlides(b *strings.Builder) {
	fmt.Fprintf(b, "\n## Gliding strings\n\nThe pitch falls by 1 to 8 cents, time constant 0.1 to 0.3 s; errors of the settled pitch, the goal for their RMSE. "+
		"The bound knows all sound since the pluck, and neither B, decays nor glide.\n\n")
	table(b, "pluck", "after ms", "bound", "RMSE", "goal", "95 % within", "median σ", "coverage %", "no reading")
	for _, r := range rep.Plucks {
		goal := r.goal()
		for i, bound := range r.BoundCents {
			s := r.At(GlideAges[i])
			row(b, r.String(), 1000*s.AgeS, digits(bound), digits(s.RMSE), digits(goal.settled[s.AgeS]), digits(s.P95),
				digits(s.MedianSigma), percent(s.Coverage()), r.Trials()-s.Read)
		}
	}
}

// table starts a table; the first column is text.
func table(b *strings.Builder, heads ...any) {
	row(b, heads...)
	b.WriteString("|---|" + strings.Repeat("--:|", len(heads)-1) + "\n")
}

func row(b *strings.Builder, cells ...any) {
	b.WriteByte('|')
	for _, c := range cells {
		fmt.Fprintf(b, " %v |", c)
	}
	b.WriteByte('\n')
}

// digits prints three significant digits, and a dash where there is no figure.
func digits(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) || x == 0 {
		return "–"
	}
	return fmt.Sprintf("%.3g", x)
}

// ms prints a time in s as whole milliseconds, and a dash for never.
func ms(s float64) string { return digits(math.Round(1000 * s)) }

func percent(x float64) string {
	if math.IsNaN(x) {
		return "–"
	}
	return fmt.Sprintf("%.1f", 100*x)
}
