package targets

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
)

// maxSteps is the most notes that a tuning may have, in all and in an octave.
const maxSteps = 10_000

// minGap is the least distance of two notes of a tuning, in cents.
const minGap = 0.001

// A Tuning is a set of notes that repeats at an interval, anchored by a reference: the reference
// note is step 0 and has a frequency in Hz.
//
// Inside, notes are counted by index. Index 0 is 1/1, which is C0 if the notes have letters;
// step = index - zero.
type Tuning struct {
	spec        string
	name        string     // of a tuning file, for display; mostly empty
	division    int        // equal steps of period; 0: the notes are listed
	notes       []Interval // listed notes, ascending within the period from 1/1; nil for an equal division
	cents       []float64  // sizes of all notes, ascending from 0
	ratios      []float64  // the same as frequency ratios
	period      Interval
	periodCents float64
	periodRatio float64

	beyond []Interval // notes given outside of the octave, where a list says nothing of its repeat

	naming    naming // nil: notes have no letters
	lettered  bool   // the reference is a letter, so labels are letters too
	zero      int    // index of step 0
	zeroHz    float64
	zeroLabel string    // label of step 0
	reference Reference // names step 0, or any other note by which the whole was moved
}

// A Note is one note of a tuning.
type Note struct {
	Step     int      `json:"step"`
	Label    string   `json:"label"`    // letter name with steps from it ("A4", "E4 +2"), else "step 7"
	Hz       float64  `json:"hz"`       // in the tuning's reference
	Interval Interval `json:"interval"` // above the reference note
}

// String returns the spec of the tuning, which ParseTuning reads back.
func (t *Tuning) String() string { return t.spec }

// Named returns the tuning under another name, of one line that can be shown.
func (t *Tuning) Named(name string) (*Tuning, error) {
	if err := checkText("name", name); err != nil {
		return nil, err
	}
	out := *t
	out.name = name
	return &out, nil
}

// Name returns the name that a tuning file gives, else the spec.
func (t *Tuning) Name() string { return cmp.Or(t.name, t.spec) }

// Reference returns what the tuning is anchored by.
func (t *Tuning) Reference() Reference { return t.reference }

// Period returns the interval at which the notes repeat, and how many notes that is.
func (t *Tuning) Period() (Interval, int) { return t.period, len(t.cents) }

// RepeatWords says at which interval a list repeats that has notes beyond it and does not say so: they
// count as if moved into the octave, which may not be what was meant. Of other tunings it is empty.
func (t *Tuning) RepeatWords() string {
	if len(t.beyond) == 0 {
		return ""
	}
	last := slices.MaxFunc(t.beyond, func(a, b Interval) int { return cmp.Compare(a.Cents(), b.Cents()) })
	words := fmt.Sprintf("%s repeats at the octave %s, within which %s counts as another note", t.Name(), t.period, last)
	switch {
	case last.Cents() < 0: // nothing repeats there
		return words
	case t.IsFile():
		return words + fmt.Sprintf("; repeat = %q in the file makes it repeat there", last)
	}
	return words + fmt.Sprintf(`; "repeat %s" after the list makes it repeat there`, last)
}

// IsFile says whether the tuning was read from a file.
func (t *Tuning) IsFile() bool { return isTuningFile(t.spec) }

// Note returns the note that many steps above the reference note, or below if step is negative.
func (t *Tuning) Note(step int) Note {
	return Note{Step: step, Label: t.label(step), Hz: t.hz(step), Interval: t.interval(step)}
}

func (t *Tuning) interval(step int) Interval {
	if t.division > 0 {
		return t.period.Mul(step).Div(t.division)
	}
	return t.indexInterval(t.zero + step).Sub(t.indexInterval(t.zero))
}

func (t *Tuning) indexInterval(index int) Interval {
	periods := floorDiv(index, len(t.cents))
	return t.notes[floorMod(index, len(t.cents))].Add(t.period.Mul(periods))
}

func (t *Tuning) hz(step int) float64 {
	n := len(t.ratios)
	from, to := t.zero, t.zero+step
	if t.division > 0 { // all steps are alike, so count from the reference note itself
		from, to = 0, step
	}
	ratio := t.ratios[floorMod(to, n)] / t.ratios[floorMod(from, n)]
	return t.zeroHz * ratio * math.Pow(t.periodRatio, float64(floorDiv(to, n)-floorDiv(from, n)))
}

func (t *Tuning) indexCents(index int) float64 {
	periods := floorDiv(index, len(t.cents))
	return t.cents[floorMod(index, len(t.cents))] + t.periodCents*float64(periods)
}

func (t *Tuning) label(step int) string {
	if t.lettered {
		return t.naming.name(t.zero + step)
	}
	return "step " + strconv.Itoa(step)
}

// evenCents is by how much two distances may differ that are the same but for rounding, in cents.
const evenCents = 1e-6

// Nearest returns the step whose note is nearest to hz in cents, the lower of two equally near.
// It is 0 if hz is not a positive finite number.
func (t *Tuning) Nearest(hz float64) int {
	step, _ := t.NearestOrTie(hz)
	return step
}

// NearestOrTie is Nearest, and says whether the note above is equally near.
func (t *Tuning) NearestOrTie(hz float64) (step int, tie bool) {
	if !(hz > 0) || math.IsInf(hz, 1) {
		return 0, false
	}
	c := 1200*math.Log2(hz/t.zeroHz) + t.indexCents(t.zero)
	periods := math.Floor(c / t.periodCents)
	within := c - periods*t.periodCents
	above := sort.SearchFloat64s(t.cents, within) // the note at or above, maybe of the next period
	index := int(periods)*len(t.cents) + above
	farther := (t.indexCents(index) - c) - (c - t.indexCents(index-1))
	if farther >= -evenCents {
		index--
	}
	return index - t.zero, math.Abs(farther) < evenCents
}

// Step returns the step of the note with that label: a letter name if the notes have letters, or
// a step number.
func (t *Tuning) Step(label string) (int, error) {
	if step, ok := parseStepLabel(label); ok {
		return step, nil
	}
	n, err := parseNoteName(label)
	if err != nil {
		return 0, err
	}
	if zero, err := parseNoteName(t.zeroLabel); err == nil && n == zero {
		return 0, nil
	}
	if !t.lettered {
		return 0, fmt.Errorf("%s: the notes of %s have no letters here; name them by step, like %q", quote(label), quote(t.spec), "step 5")
	}
	index, err := t.naming.index(n)
	return index - t.zero, err
}

// WithReference returns the tuning anchored anew: the note named by r is step 0 and sounds at
// r.Hz. If r names a step instead of a letter, that step sounds at r.Hz, step 0 is 1/1 of the
// tuning, and notes are shown by step.
func (t *Tuning) WithReference(r Reference) (*Tuning, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	u := *t
	u.reference, u.zero, u.zeroHz, u.zeroLabel, u.lettered = r, 0, r.Hz, r.Label, false
	if step, ok := parseStepLabel(r.Label); ok {
		u.zeroLabel = "step 0"
		return u.pitchedAt(r, step)
	}
	if t.naming == nil {
		return &u, nil
	}
	n, err := parseNoteName(r.Label)
	if err != nil {
		return nil, err
	}
	if u.zero, err = t.naming.index(n); err != nil {
		return nil, fmt.Errorf("reference %s: %w", quote(r.Label), err)
	}
	u.lettered = true
	return &u, nil
}

// pitchedAt returns the tuning moved as a whole so that a step sounds at r.Hz. Step numbers and
// labels stay.
func (t *Tuning) pitchedAt(r Reference, step int) (*Tuning, error) {
	u := *t
	u.reference = r
	u.zeroHz = t.zeroHz * (r.Hz / t.hz(step))
	if step == 0 {
		u.zeroHz = r.Hz
	}
	if !(u.zeroHz > 0) || math.IsInf(u.zeroHz, 0) {
		return nil, fmt.Errorf("reference %s: that step is too far from step 0 of %s", quote(r.Label), quote(t.spec))
	}
	return &u, nil
}

// newDivision returns the equal division of period into n steps, anchored at StandardPitch.
func newDivision(n int, period Interval) (*Tuning, error) {
	t := &Tuning{division: n, period: period, periodCents: period.Cents(), periodRatio: period.ratio()}
	if !(t.periodCents > 0) {
		return nil, fmt.Errorf("the interval %v does not lead upwards", period)
	}
	if n > maxSteps || float64(n)*1200 > maxSteps*t.periodCents {
		return nil, fmt.Errorf("%d equal steps of %v are more than %d an octave", n, period, maxSteps)
	}
	t.cents, t.ratios = make([]float64, n), make([]float64, n)
	for i := range t.cents {
		t.cents[i] = float64(i) * t.periodCents / float64(n)
		t.ratios[i] = math.Exp2(t.cents[i] / 1200)
	}
	if period.Equal(octave) {
		if l := newLetters(n); l != nil {
			t.naming = l
		}
	}
	return t.WithReference(StandardPitch)
}

// newListed returns the tuning of the listed notes, which need not be sorted or lie within one
// period, with 1/1 added if it is missing. Notes that are whole periods apart are one note.
func newListed(notes []Interval, period Interval) (*Tuning, error) {
	t := &Tuning{period: period, periodCents: period.Cents(), periodRatio: period.ratio()}
	if !(t.periodCents > 0) {
		return nil, fmt.Errorf("repeat %v does not lead upwards", period)
	}
	if err := t.place(notes); err != nil {
		return nil, err
	}
	if float64(len(t.notes))*1200 > maxSteps*t.periodCents {
		return nil, fmt.Errorf("%d notes repeating at %v are more than %d an octave", len(t.notes), period, maxSteps)
	}
	return t.WithReference(StandardPitch)
}

// place sorts the notes into one period.
func (t *Tuning) place(notes []Interval) error {
	type placed struct{ given, note Interval }
	all := make([]placed, 1, len(notes)+1) // the first is 1/1
	for _, iv := range notes {
		// The hair of a cent keeps a note on the boundary from falling below it by rounding.
		periods := math.Floor((iv.Cents() + minGap/2) / t.periodCents)
		if math.Abs(periods) > maxIntervalCents {
			return fmt.Errorf("%s is too many repeats of %s away", quote(iv.String()), quote(t.period.String()))
		}
		all = append(all, placed{iv, iv.Sub(t.period.Mul(int(periods)))})
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].note.Cents() < all[j].note.Cents() })
	for _, p := range all {
		last := len(t.notes) - 1
		if last >= 0 && p.note.Cents()-t.cents[last] < minGap {
			if !sameNote(p.note, t.notes[last]) {
				return fmt.Errorf("%s is less than %g cents from another note, %s", quote(p.given.String()), minGap, quote(t.notes[last].String()))
			}
			continue
		}
		t.notes = append(t.notes, p.note)
		t.cents = append(t.cents, p.note.Cents())
	}
	t.notes[0], t.cents[0] = Interval{}, 0
	if last := len(t.notes) - 1; t.periodCents-t.cents[last] < minGap {
		return fmt.Errorf("%s is less than %g cents from another note, %s", quote(t.notes[last].String()), minGap, quote(t.period.String()))
	}
	for _, iv := range t.notes {
		t.ratios = append(t.ratios, iv.ratio())
	}
	return nil
}

// sameNote allows for rounding where a size is in cents.
func sameNote(a, b Interval) bool {
	if a.Exact() && b.Exact() {
		return a.Equal(b)
	}
	return math.Abs(a.Cents()-b.Cents()) < 1e-6
}
