package accuracy

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// WriteMarkdown writes the report as tables: the pools, the cells of the matched model, the cells
// with an effect, and the goals that were missed.
func (rep *Report) WriteMarkdown(w io.Writer, g Goals) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Seed %d, %d trials a cell, %g Hz. Cents of partial 1. The bound is Cramér–Rao with B and decays unknown; "+
		"RMSE and bias without gross errors (over %d cents); coverage of ±1.96σ.\n", rep.Config.Seed, rep.Config.Trials, rep.Config.SampleRate, grossCents)
	if len(rep.Results) > 0 {
		rep.writePools(&b, g)
		rep.writeCells(&b, "Matched model", func(c Condition) bool { return c.Name == "" })
		rep.writeCells(&b, "Effects", func(c Condition) bool { return c.Name != "" })
	}
	rep.writeRegisters(&b)
	rep.writePlucks(&b)
	fails := rep.Failures(g)
	fmt.Fprintf(&b, "\n## Goals missed: %d\n\n", len(fails))
	for _, f := range fails {
		fmt.Fprintf(&b, "- %v\n", f)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (rep *Report) writePools(b *strings.Builder, g Goals) {
	fmt.Fprintf(b, "\n## Over all cells of at least %g periods\n\n", g.Periods)
	row[any](b, "condition", "trials", "RMSE", "RMSE/bound", "coverage %", "gross", "octave", "no reading")
	row(b, strings.Split("---|--:|--:|--:|--:|--:|--:|--:", "|")...)
	for _, p := range rep.Pools(g) {
		row[any](b, p.Name, p.Trials, digits(p.RMSE), digits(p.Ratio), percent(p.Coverage()), p.Gross, p.Octave, p.Trials-p.Read)
	}
}

func (rep *Report) writeCells(b *strings.Builder, title string, wanted func(Condition) bool) {
	fmt.Fprintf(b, "\n## %s\n\n", title)
	row[any](b, "condition", "note", "window ms", "SNR dB", "bound", "RMSE", "RMSE/bound", "bias", "median σ", "coverage %", "gross", "octave", "no reading")
	row(b, strings.Split("---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:", "|")...)
	for _, r := range rep.Results {
		if wanted(r.Condition) {
			row[any](b, r.Condition.Name, r.Name, 1000*r.WindowS, r.SNRdB, digits(r.BoundCents), digits(r.RMSE), digits(r.Ratio()),
				digits(r.Bias), digits(r.MedianSigma), percent(r.Coverage()), r.Gross, r.Octave, r.Trials-r.Read)
		}
	}
}

func (rep *Report) writeRegisters(b *strings.Builder) {
	if len(rep.Registers) == 0 {
		return
	}
	fmt.Fprintf(b, "\n## Gross errors\n\n")
	row[any](b, "register", "Hz", "string", "trials", "gross", "octave", "no reading")
	row(b, strings.Split("---|---|---|--:|--:|--:|--:", "|")...)
	for _, r := range rep.Registers {
		row[any](b, r.Name, fmt.Sprintf("%g–%g", r.MinHz, r.MaxHz), r.Kind, r.Trials, r.Gross, r.Octave, r.Trials-r.Read)
	}
}

func (rep *Report) writePlucks(b *strings.Builder) {
	if len(rep.Plucks) == 0 {
		return
	}
	fmt.Fprintf(b, "\n## From the pluck\n\n")
	row[any](b, "pluck", "first reading ms", "±1 cent ms", "goal", "±0.1 cent ms", "goal")
	row(b, strings.Split("---|--:|--:|--:|--:|--:", "|")...)
	for _, r := range rep.Plucks {
		if r.Glide {
			continue
		}
		goal, tenth, late := lockGoals[r.Name], "–", 0.0
		if r.Attack {
			late = attackNoiseS
		} else if r.SNRdB >= 40 {
			tenth = ms(goal.tenth)
		}
		row[any](b, r.String(), ms(r.First(lockShare)), ms(r.Within(1, lockShare)), ms(goal.cent+late), ms(r.Within(0.1, lockShare)), tenth)
	}
	fmt.Fprintf(b, "\n## Gliding strings\n\n")
	row[any](b, "pluck", "after ms", "bound", "RMS", "95 % within", "goal", "median σ", "coverage %", "no reading")
	row(b, strings.Split("---|--:|--:|--:|--:|--:|--:|--:|--:", "|")...)
	for _, r := range rep.Plucks {
		if r.Glide {
			r.writeGlide(b)
		}
	}
}

func (r PluckResult) writeGlide(b *strings.Builder) {
	goals := map[float64]float64{0.25: lockGoals[r.Name].at250, 0.4: lockGoals[r.Name].at400}
	for i, age := range GlideAges {
		s, goal := r.At(age), "–"
		if g := goals[age]; g > 0 {
			goal = digits(g)
		}
		row[any](b, r.String(), 1000*age, digits(r.BoundCents[i]), digits(s.RMSE), digits(s.P95), goal, digits(s.MedianSigma), percent(s.Coverage()), r.Trials()-s.Read)
	}
}

// ms prints a time in s as whole milliseconds, and a dash for never.
func ms(s float64) string { return digits(math.Round(1000 * s)) }

func row[T any](b *strings.Builder, cells ...T) {
	b.WriteByte('|')
	for _, c := range cells {
		fmt.Fprintf(b, " %v |", c)
	}
	b.WriteByte('\n')
}

// digits prints three significant digits, and a dash where there is no figure.
func digits(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	return fmt.Sprintf("%.3g", x)
}

func percent(x float64) string {
	if math.IsNaN(x) {
		return "–"
	}
	return fmt.Sprintf("%.1f", 100*x)
}
