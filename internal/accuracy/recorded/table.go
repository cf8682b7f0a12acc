package recorded

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// A Report is what was made of the clips of a folder.
type Report []Outcome

// A Summary holds the figures of one variant. Counts of whole clips and the live figures leave
// bells out, which have their own; parts are of 1.
type Summary struct {
	Variant                     string
	Clips, Failed               int // Failed: could not be read or disturbed, and is in no other figure
	Missing, Misread, Split     int // whole clips
	NeverRead                   int // live
	RightFrames, WrongFrames    float64
	FirstMedianS, First90S      float64 // of the clips that were read live
	Compared                    int     // whole notes with a reference
	Covered                     float64 // part of them with the truth within ±1.96σ
	MedianCents, NinetiethCents float64 // of their |error|

	Bells               int
	BellFrames          int
	BellWrong, BellSaid float64 // frames read as another pitch; frames said to ring, or read at the strike note
}

// Summaries returns one summary a variant, in the order of the report.
func (rep Report) Summaries() []Summary {
	var names []string
	byName := map[string][]*Outcome{}
	for i := range rep {
		if o := &rep[i]; byName[o.Variant] == nil {
			names = append(names, o.Variant)
		}
		byName[rep[i].Variant] = append(byName[rep[i].Variant], &rep[i])
	}
	var all []Summary
	for _, name := range names {
		all = append(all, summarise(name, byName[name]))
	}
	return all
}

func summarise(name string, outcomes []*Outcome) Summary {
	s := Summary{Variant: name}
	var first, off []float64
	var frames, right, wrong, bellWrong, bellSaid, covered int
	for _, o := range outcomes {
		switch {
		case o.Err != nil:
			s.Failed++
			continue
		case o.Clip.bell():
			s.Bells++
			s.BellFrames += o.Frames
			bellWrong += o.Wrong
			bellSaid += o.Right + o.Rings
			continue
		}
		s.Clips++
		switch _, verdict := o.Main(); verdict {
		case Missing:
			s.Missing++
		case Misread:
			s.Misread++
		}
		if o.Split() {
			s.Split++
		}
		frames, right, wrong = frames+o.Frames, right+o.Right, wrong+o.Wrong
		if math.IsInf(o.FirstS, 1) {
			s.NeverRead++
		} else {
			first = append(first, o.FirstS)
		}
		if e, sigma, ok := o.ErrorCents(); ok {
			off = append(off, math.Abs(e))
			if math.Abs(e) <= 1.96*sigma {
				covered++
			}
		}
	}
	s.RightFrames, s.WrongFrames = part(right, frames), part(wrong, frames)
	s.FirstMedianS, s.First90S = quantile(first, 0.5), quantile(first, 0.9)
	s.Compared, s.Covered = len(off), part(covered, len(off))
	s.MedianCents, s.NinetiethCents = quantile(off, 0.5), quantile(off, 0.9)
	s.BellWrong, s.BellSaid = part(bellWrong, s.BellFrames), part(bellSaid, s.BellFrames)
	return s
}

func part(n, of int) float64 { return float64(n) / float64(of) }

// quantile returns the value below which part q of xs lies, which it sorts; NaN without any.
func quantile(xs []float64, q float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	slices.Sort(xs)
	return xs[int(q*float64(len(xs)-1)+0.5)]
}

// WriteMarkdown writes the figures of every variant, of every class of instrument where only clean
// clips were read, and a line for each failure.
func (rep Report) WriteMarkdown(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Whole clips (bells apart): no note, another note (over %g cents off), one note told as several. "+
		"Live: never read; frames from %g s after the onset with the right and with another pitch; first right reading. "+
		"Against references: ±1.96σ, with the reference's own σ, covers; |error| in cents.\n\n", wrongCents, settleS)
	summaries := rep.Summaries()
	b.WriteString("| variant | clips | no note % | misread % | split % | never live % | right % | wrong % | first s, median | 90 % | compared | covered % | median c | 90 % c |\n" +
		"| --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n")
	for _, s := range summaries {
		fmt.Fprintf(&b, "| %s | %d | %.1f | %.1f | %.1f | %.1f | %.1f | %.2f | %.3f | %.3f | %d | %.0f | %.2f | %.2f |\n", cmp.Or(s.Variant, "clean"), s.Clips,
			100*part(s.Missing, s.Clips), 100*part(s.Misread, s.Clips), 100*part(s.Split, s.Clips), 100*part(s.NeverRead, s.Clips),
			100*s.RightFrames, 100*s.WrongFrames, s.FirstMedianS, s.First90S, s.Compared, 100*s.Covered, s.MedianCents, s.NinetiethCents)
	}
	for _, s := range summaries {
		if s.Bells > 0 {
			fmt.Fprintf(&b, "\n%s: %d bells: %.1f %% of %d frames read as another pitch, %.1f %% said to ring or read at the strike note.\n",
				cmp.Or(s.Variant, "clean"), s.Bells, 100*s.BellWrong, s.BellFrames, 100*s.BellSaid)
		}
	}
	b.WriteString("\n## Failures\n\n")
	for i := range rep {
		if words := rep[i].failure(); words != "" {
			fmt.Fprintf(&b, "- %s%s (%s, %.1f Hz): %s\n", rep[i].Clip.File(), in(rep[i].Variant), rep[i].Clip.Instrument, rep[i].Clip.NominalHz, words)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func in(variant string) string {
	if variant == "" {
		return ""
	}
	return ", " + variant
}

// Bounds beyond which a clip gets a line of its own.
const (
	rightEnough = 0.95 // part of the live frames
	sigmasOff   = 3.0  // of a whole note against its reference
)

// failure says in words what went wrong with the clip; nothing if all is well.
func (o *Outcome) failure() string {
	if o.Err != nil {
		return o.Err.Error()
	}
	var words []string
	add := func(format string, a ...any) { words = append(words, fmt.Sprintf(format, a...)) }
	if o.Clip.bell() {
		if o.Wrong > 0 {
			add("live %d of %d frames read as another pitch", o.Wrong, o.Frames)
		}
		return strings.Join(words, "; ")
	}
	switch note, verdict := o.Main(); verdict {
	case Missing:
		add("no note")
	case Misread:
		add("read as %.2f Hz, %+.0f cents", note.Hz, cents(note.Hz, o.Clip.NominalHz))
	}
	if o.Split() {
		add("told as %d notes", len(o.Notes))
	}
	if e, sigma, ok := o.ErrorCents(); ok && math.Abs(e) > sigmasOff*sigma {
		add("%+.2f cents off, σ with the reference's %.2f", e, sigma)
	}
	if math.IsInf(o.FirstS, 1) {
		add("never read live")
	} else if o.Frames > 0 && part(o.Right, o.Frames) < rightEnough {
		add("live right in %.0f %% of frames", 100*part(o.Right, o.Frames))
	}
	if o.Wrong > 0 {
		add("live wrong in %.1f %%", 100*part(o.Wrong, o.Frames))
	}
	return strings.Join(words, "; ")
}
