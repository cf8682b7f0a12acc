package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"tunerd/internal/display"
	"tunerd/internal/setup"
	"tunerd/internal/tension"
)

// Title names the report.
func (r *Report) Title() string { return "Intonation of " + r.Check.Board.Name }

// Facts say what was done, in a line each.
func (r *Report) Facts() []string {
	c := r.Check
	notes, plucks := 0, 0
	for _, e := range c.Entries {
		if len(e.Plucks) > 0 {
			notes++
			plucks += len(e.Plucks)
		}
	}
	facts := []string{
		fmt.Sprintf("%s, %s", c.Board.Tuning, c.Board.Reference),
		fmt.Sprintf("%s, %s, each read from %g to %g s after its onset; plucks of one note scatter by %.2f cents (standard deviation)", display.Count(notes, "note"), display.Count(plucks, "pluck"), c.Settings.Window[0], c.Settings.Window[1], r.Result.Repeat),
	}
	if c.Started != "" {
		facts = append(facts, "begun "+c.Started)
	}
	if c.Comment != "" {
		facts = append(facts, c.Comment)
	}
	if r.Result.Misfit > 1.25 {
		facts = append(facts, fmt.Sprintf("The notes scatter %.1f times as much as their uncertainties say; all ± have been widened by that. Old strings, or a hand that pulls the string aside, do this.", r.Result.Misfit))
	}
	return facts
}

// A Finding is what is said of one string.
type Finding struct {
	Name    string // "String 6, E2"
	Verdict string
	Text    string
}

// Strings says of every string what to do.
func (r *Report) Strings() []Finding {
	var all []Finding
	for i := range r.Result.Strings {
		s := &r.Result.Strings[i]
		all = append(all, Finding{
			Name:    fmt.Sprintf("String %d, %s", s.Number, s.Label),
			Verdict: string(s.Verdict),
			Text:    r.stringText(s),
		})
	}
	return all
}

func (r *Report) stringText(s *setup.StringResult) string {
	if !s.Determined {
		return "Too few frets were read to tell nut from saddle."
	}
	said := []string{
		r.saddleText(s), nutText(s),
		fmt.Sprintf("Now the worst note read is fret %d, %s cents; the moves leave %s cents at fret %d, %.1f in the mean square.",
			s.Now.WorstFret, signed(s.Now.WorstCents, 1), signed(s.After.WorstCents, 1), s.After.WorstFret, s.After.RMSCents),
		verdictText(s),
	}
	if s.MoveDoubt > 0.5*s.MoveSigma.SaddleMM {
		said = append(said, fmt.Sprintf("If its sharpness comes from pressing and not from the places of nut and saddle, the saddle move differs by %.2f mm.", s.MoveDoubt))
	}
	if s.NutHeight.High {
		said = append(said, fmt.Sprintf("Its slot in the nut is high: %s.", heightText(s.NutHeight)))
	}
	if !s.Harmonic.Explained {
		said = append(said, fmt.Sprintf("Harmonic %d lies %s cents (±%s) from where the stiffness of the string puts it: the string is false or worn, or was touched too firmly. Change it before anything is moved.", s.Harmonic.Harmonic, signed(s.Harmonic.Cents, 1), sigma(s.Harmonic.Sigma, 1)))
	}
	return join(said)
}

// telling is how many standard errors a move must have to be named.
const telling = 2

func (r *Report) saddleText(s *setup.StringResult) string {
	mm, uncertain := s.Move.SaddleMM, s.MoveSigma.SaddleMM
	if math.Abs(mm) < telling*uncertain {
		return fmt.Sprintf("The saddle can stay (%s ± %s mm).", signed(mm, 2), sigma(uncertain, 2))
	}
	way := "back, away from the nut"
	if mm < 0 {
		way = "forward, towards the nut"
	}
	text := fmt.Sprintf("Move the saddle %.2f ± %s mm %s", math.Abs(mm), sigma(uncertain, 2), way)
	if thread := r.Check.Settings.Thread; thread > 0 {
		text += fmt.Sprintf(": %s of its %g mm screw", turns(setup.Turns(math.Abs(mm), thread)), thread)
	}
	return text + "."
}

// turns writes a number of turns in eighths.
func turns(t float64) string {
	eighths := int(math.Round(8 * t))
	if eighths == 0 {
		return "less than 1/8 of a turn"
	}
	whole, part := eighths/8, eighths%8
	den := 8
	for part > 0 && part%2 == 0 {
		part, den = part/2, den/2
	}
	switch {
	case part == 0 && whole == 1:
		return "1 turn"
	case part == 0:
		return strconv.Itoa(whole) + " turns"
	case whole == 0:
		return fmt.Sprintf("%d/%d of a turn", part, den)
	}
	return fmt.Sprintf("%d %d/%d turns", whole, part, den)
}

func nutText(s *setup.StringResult) string {
	mm, uncertain := s.Move.NutMM, s.MoveSigma.NutMM
	switch {
	case math.Abs(mm) < telling*uncertain:
		return fmt.Sprintf("The nut can stay (%s ± %s mm).", signed(mm, 2), sigma(uncertain, 2))
	case mm > 0:
		return fmt.Sprintf("Move the nut %.2f ± %s mm towards the saddle.", mm, sigma(uncertain, 2))
	}
	return fmt.Sprintf("Move the nut %.2f ± %s mm away from the saddle.", -mm, sigma(uncertain, 2))
}

func verdictText(s *setup.StringResult) string {
	switch s.Verdict {
	case setup.Leave:
		return "The moves cannot be told from none: leave it."
	case setup.Slight:
		return fmt.Sprintf("No note is %g cents off; only chords that should not beat tell of it.", setup.HeardCents)
	case setup.LowerNut:
		return fmt.Sprintf("A note is more than %g cents off, and the slot of the nut is high: lower the slot first and check again; the moves hold for the slot as it is.", setup.HeardCents)
	case setup.NoUse:
		return fmt.Sprintf("A note is more than %g cents off, but moving nut and saddle does not mend it: see the frets.", setup.HeardCents)
	}
	return "Worth a move."
}

// heightText tells a height with its standard error.
func heightText(h setup.Height) string {
	return fmt.Sprintf("%.2f ± %s mm above the plane of the frets", h.MM, sigma(h.Sigma, 2))
}

// nutHeight says how high the nut is.
func (r *Report) nutHeight() string {
	h, usual := r.Result.Height, r.Check.Settings.Model.NutHeightMM
	if !h.High {
		return fmt.Sprintf("The slots of the nut stand %s, by what the lowest frets tell; up to %g mm is usual.", heightText(h), usual)
	}
	return fmt.Sprintf("The nut is high: its slots stand %s, and up to %g mm is usual. Lower the slots first, a little at a time, and check again: what the lowest frets, nut and saddle need is told only then.", heightText(h), usual)
}

// low says whether a fret is so low that a high nut acts like a fret off its place.
func (r *Report) low(f *setup.FretResult) bool {
	for _, s := range r.Check.Board.Strings {
		if s.Number == f.Strings[0] {
			return s.Frets[f.Fret-1].Ratio() < setup.LowRatio
		}
	}
	return false
}

// untold is the standard error in mm from which a fret that is 0.4 mm off would not stand out.
const untold = 0.12

// hidden names the low frets that cannot be told from the height of the nut.
func (r *Report) hidden() string {
	var names []string
	worst := 0.0
	for _, f := range r.Result.Frets {
		if !f.Off && f.Sigma > untold && r.low(&f) {
			names = append(names, strconv.Itoa(f.Fret))
			worst = max(worst, f.Sigma)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("Where fret %s stands can be told to ±%s mm only: the height of the nut does much the same to the lowest frets.", names[0], sigma(worst, 2))
	}
	return fmt.Sprintf("Where frets %s stand can be told to ±%s mm only: the height of the nut does much the same to the lowest frets.", strings.Join(names, ", "), sigma(worst, 2))
}

// Frets says which frets stand off their places, and that the others do not.
func (r *Report) Frets() []string {
	var said []string
	within := 0
	for _, f := range r.Result.Frets {
		if !f.Off {
			within++
			continue
		}
		way, pitch := "too near the saddle", "sharp"
		if f.MM < 0 {
			way, pitch = "too near the nut", "flat"
		}
		text := fmt.Sprintf("Fret %d stands %.2f ± %s mm %s, or is worn to that side: its notes are %.1f cents %s whatever is done at nut and saddle. Heard on %s.",
			f.Fret, math.Abs(f.MM), sigma(f.Sigma, 2), way, math.Abs(f.Cents), pitch, namesOf(f.Strings))
		if len(f.Strings) == 1 {
			text += " Hear it on another string before it is touched."
		}
		if r.Result.Height.High && r.low(&f) {
			text += " The nut is high, too: lower its slots first, and hear this fret again."
		}
		said = append(said, text)
	}
	for _, n := range r.Result.Odd {
		if n.Open() {
			said = append(said, fmt.Sprintf("An open note of string %d does not fit the others by %s cents (±%s) and was left out.", n.String, signed(n.Residual, 1), sigma(n.Sigma, 1)))
			continue
		}
		said = append(said, fmt.Sprintf("%s does not fit the rest by %s cents (±%s) and was left out: worn there, buzzing, or pressed aside. Play it again.", capital(n.Text()), signed(n.Residual, 1), sigma(n.Sigma, 1)))
	}
	if len(said) == 0 && within > 0 {
		frets := "The one fret that was heard is not"
		if within > 1 {
			frets = fmt.Sprintf("None of the %d frets that were heard is", within)
		}
		said = append(said, fmt.Sprintf("%s off its place by more than chance and usual care (%.2f mm) explain.", frets, r.Check.Settings.Model.SlotMM))
	}
	if words := r.hidden(); words != "" {
		said = append(said, words)
	}
	return said
}

// Together says what holds for the strings together: the nut and saddle where they are one piece,
// and what the verdicts mean.
func (r *Report) Together() []string {
	said := []string{r.nutHeight()}
	if n := r.Result.Nut; n != nil {
		said = append(said, nutOfAll(n))
	}
	if settings := r.Check.Settings; settings.Fixed || settings.Thread == 0 {
		said = append(said, r.saddleOfAll()...)
	}
	return append(said, fmt.Sprintf("Most people do not notice less than %g cents between notes of a melody; chords tell of far less, by their beats.", setup.HeardCents))
}

func nutOfAll(n *setup.NutMove) string {
	if math.Abs(n.MM) < telling*n.Sigma {
		return fmt.Sprintf("A nut of one piece can stay (%s ± %s mm over all strings).", signed(n.MM, 2), sigma(n.Sigma, 2))
	}
	way := "towards the saddle"
	if n.MM < 0 {
		way = "away from the saddle"
	}
	text := fmt.Sprintf("A nut of one piece: move it %.2f ± %s mm %s for all strings", math.Abs(n.MM), sigma(n.Sigma, 2), way)
	if !n.Alike {
		text += ", though they do not agree, and each is better off with its own place"
	}
	return text + "."
}

func (r *Report) saddleOfAll() []string {
	line := r.Result.Line
	if line == nil || len(line.Strings) < 2 {
		return nil
	}
	first, last := line.Strings[0], line.Strings[len(line.Strings)-1]
	worst := first
	for _, s := range line.Strings {
		if math.Abs(s.Cents) > math.Abs(worst.Cents) {
			worst = s
		}
	}
	return []string{fmt.Sprintf("A straight saddle of one piece: move it %s mm under string %d and %s mm under string %d (positive is back). That leaves %s cents at most, on string %d, where it stands %.2f mm from the string's own best place.",
		signed(first.MoveMM, 2), first.Number, signed(last.MoveMM, 2), last.Number, signed(worst.Cents, 1), worst.Number, math.Abs(worst.OffMM))}
}

// Doubts says what casts doubt on the figures.
func (r *Report) Doubts() []string {
	var said []string
	for _, s := range r.Check.Slips() {
		said = append(said, fmt.Sprintf("String %d slipped by %s cents (±%s) between its first and last open note; let it settle and check it again.", s.Number, signed(s.Cents, 1), sigma(s.Sigma, 1)))
	}
	for _, s := range r.Result.Strings {
		if math.Abs(s.PitchCents) > 15 {
			said = append(said, fmt.Sprintf("String %d was %s cents off its pitch; moves hold for the tension at which the string was read, so tune it and check again.", s.Number, signed(s.PitchCents, 0)))
		}
	}
	for _, e := range r.Check.Entries {
		if e.State == setup.Loose {
			said = append(said, fmt.Sprintf("%s stayed unsteady over %d plucks.", capital(e.Text()), len(e.Plucks)))
		}
	}
	return append(said, r.Warnings...)
}

// Cautions stand in every report.
func (r *Report) Cautions() []string {
	said := []string{
		"Wear eye protection. Slacken a string before its saddle or nut is moved, and tune it up again slowly.",
	}
	if rise := r.tensionRise(); rise > 0.0005 {
		said = append(said, fmt.Sprintf("A saddle further back means a longer string: at the same pitch its tension rises, here by %.1f %% at most.", 100*rise))
	}
	for _, s := range r.Result.Strings {
		if part := r.partAfter(&s); part > tension.Limit {
			said = append(said, fmt.Sprintf("String %d will bear %.0f %% of the load at which it breaks; strings are tuned up to %.0f %%.", s.Number, 100*part, 100*tension.Limit))
		}
	}
	return append(said,
		"A slot cut too far is not put back: move a nut, or cut a saddle, by half of what is said and check again. Keep to the limits of neck and bridge that the maker gives.",
		"These figures are advice for bench work; the maker's and a licensed technician's word stands above them.")
}

// tensionRise is the largest part by which a move raises the tension of a string that is tuned to
// the same pitch: T grows with the square of the length.
func (r *Report) tensionRise() float64 {
	most := 0.0
	for i := range r.Result.Strings {
		most = max(most, r.rise(&r.Result.Strings[i]))
	}
	return most
}

func (r *Report) rise(s *setup.StringResult) float64 {
	for _, str := range r.Check.Board.Strings {
		if str.Number == s.Number {
			longer := 1 + (s.Move.SaddleMM-s.Move.NutMM)/str.ScaleMM
			return longer*longer - 1
		}
	}
	return 0
}

func (r *Report) partAfter(s *setup.StringResult) float64 {
	for _, str := range r.Check.Board.Strings {
		if str.Number == s.Number {
			return str.BreakShare * (1 + r.rise(s))
		}
	}
	return 0
}

// signed writes a number with its sign and so many decimals; what rounds to nothing has none.
func signed(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	if x > 0 {
		return "+" + s
	}
	return s
}

func join(said []string) string {
	var kept []string
	for _, s := range said {
		if s != "" {
			kept = append(kept, s)
		}
	}
	return strings.Join(kept, " ")
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// namesOf names strings: "string 2", "strings 2, 3 and 5".
func namesOf(numbers []int) string {
	if len(numbers) == 1 {
		return fmt.Sprintf("string %d", numbers[0])
	}
	var b strings.Builder
	b.WriteString("strings ")
	for i, n := range numbers {
		switch {
		case i == 0:
		case i == len(numbers)-1:
			b.WriteString(" and ")
		default:
			b.WriteString(", ")
		}
		b.WriteString(strconv.Itoa(n))
	}
	return b.String()
}

// sigma writes a standard error with so many decimals, and at least one of the last: none is 0.
func sigma(sd float64, decimals int) string {
	return display.Fixed(max(sd, math.Pow10(-decimals)), decimals)
}
