package targets

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Verdicts of a Match.
const (
	Flat   = "flat"
	Sharp  = "sharp"
	InTune = "in tune"
	Unsure = "unsure" // the uncertainty leaves open which of these it is

	// While a string is held, of what does not seem to be that string:
	OtherString = "other string" // Match.Seems is nearer
	FarOff      = "far off"      // no open string is near
)

const (
	defaultTolerance = 0.5 // cents
	maxTolerance     = 50
)

// A ResolverConfig says what may sound. The zero value is 12edo at A4=440.
type ResolverConfig struct {
	Tuning         *Tuning     // notes to match; with an instrument, it replaces the instrument's own tuning
	Instrument     *Instrument // match its strings instead of the notes of a tuning
	Reference      *Reference  // nil: that of the instrument, else of the tuning
	String         int         // hold this string from the beginning (1..); 0: none
	Frets          bool        // match fretted notes as well as open strings
	ToleranceCents float64     // "in tune" up to this distance, if it is known so well; 0: 0.5 cents
}

// A Match is a target and how the measured pitch lies against it.
type Match struct {
	Target
	Cents   float64 // 1200·log2(measured/target); positive is sharp
	BeatHz  float64 // measured minus target
	Verdict string  // Flat, Sharp, InTune, Unsure, OtherString or FarOff

	Standing   Standing // to the string that is held
	Seems      Target   // open string that it seems to be while Doubted; String 0: none
	SeemsCents float64  // measured against Seems
}

// A Resolver finds the target that a measured pitch is meant to be: the nearest in cents, but
// with hysteresis. Between two targets it keeps the one it has until the pitch lies beyond their
// middle by more than
//
//	max(g/10, 4σ)
//
// where g is the distance of the two targets and σ the uncertainty of the reading, so that a
// pitch on the boundary does not flicker between two names: to come back it would have to cross
// at least 8σ. Reset forgets the target kept, for a new note.
//
// A Resolver serves one goroutine. Resolve allocates nothing.
type Resolver struct {
	strings   []Target
	free      pitchTable   // what may sound while no string is held
	perString []pitchTable // what may sound on one string
	table     *pitchTable  // the one in use
	held      int          // string held, 0: none
	holder    holder       // judges what sounds while one is
	current   int          // index into table of the target kept, -1: none
	tolerance float64      // cents
}

// A pitchTable holds targets ascending by pitch, no two of the same pitch.
type pitchTable struct {
	targets []Target
	cents   []float64 // of each target above 1 Hz
}

// NewResolver returns a resolver for what cfg describes.
func NewResolver(cfg ResolverConfig) (*Resolver, error) {
	r := &Resolver{tolerance: cfg.ToleranceCents, current: -1}
	if r.tolerance == 0 {
		r.tolerance = defaultTolerance
	}
	if !(r.tolerance > 0 && r.tolerance <= maxTolerance) {
		return nil, fmt.Errorf("tolerance %g is outside 0 to %d cents", cfg.ToleranceCents, maxTolerance)
	}
	var err error
	if cfg.Instrument != nil {
		err = r.useInstrument(cfg)
	} else {
		err = r.useTuning(cfg)
	}
	if err != nil {
		return nil, err
	}
	return r, r.Hold(cfg.String)
}

func (r *Resolver) useTuning(cfg ResolverConfig) error {
	t := cfg.Tuning
	var err error
	if t == nil {
		if t, err = ParseTuning("12edo"); err != nil {
			return err
		}
	}
	if cfg.Reference != nil {
		if t, err = t.WithReference(*cfg.Reference); err != nil {
			return err
		}
	}
	r.free = newPitchTable(t.audible())
	if len(r.free.targets) == 0 {
		return fmt.Errorf("tuning %s has no note from %g to %g Hz at %v", quote(t.spec), MinNoteHz, MaxNoteHz, t.reference)
	}
	return nil
}

// audible returns all notes from MinNoteHz to MaxNoteHz.
func (t *Tuning) audible() []Target {
	var notes []Target
	for step := t.Nearest(MinNoteHz); t.hz(step) <= MaxNoteHz; step++ {
		if t.hz(step) >= MinNoteHz {
			notes = append(notes, t.target(step))
		}
	}
	return notes
}

func (r *Resolver) useInstrument(cfg ResolverConfig) error {
	in, err := cfg.Instrument.With(cfg.Tuning, cfg.Reference)
	if err != nil {
		return err
	}
	r.strings = in.Targets()
	var all []Target
	for i, s := range in.Strings {
		own := []Target{s.Open}
		for fret := 1; cfg.Frets && fret <= len(s.Frets); fret++ {
			t, err := in.Fretted(i+1, fret)
			if err != nil {
				return err
			}
			own = append(own, t)
		}
		all = append(all, own...)
		r.perString = append(r.perString, newPitchTable(own))
	}
	r.free = newPitchTable(all)
	return nil
}

// newPitchTable sorts the targets. Of several with the same pitch the lowest fret stays, then
// the string listed first.
func newPitchTable(all []Target) pitchTable {
	all = append([]Target(nil), all...)
	sort.SliceStable(all, func(i, j int) bool { return all[i].Hz < all[j].Hz })
	var t pitchTable
	for _, a := range all {
		c := 1200 * math.Log2(a.Hz)
		if last := len(t.targets) - 1; last >= 0 && c-t.cents[last] < minGap/2 {
			if b := t.targets[last]; a.Fret < b.Fret || a.Fret == b.Fret && a.String < b.String {
				t.targets[last] = a
			}
			continue
		}
		t.targets, t.cents = append(t.targets, a), append(t.cents, c)
	}
	return t
}

// Resolve returns the match of a measured frequency of partial 1 with standard uncertainty
// sigmaCents, and remembers its target. A frequency that is not positive and finite gives the
// zero Match and changes nothing; an uncertainty below zero or NaN counts as zero.
func (r *Resolver) Resolve(f1Hz, sigmaCents float64) Match {
	if !(f1Hz > 0) || math.IsInf(f1Hz, 1) {
		return Match{}
	}
	c := 1200 * math.Log2(f1Hz)
	near := r.table.nearest(c)
	if r.current < 0 || near != r.current && r.table.leaves(r.current, near, c, sigmaCents) {
		r.current = near
	}
	m := r.match(r.table.targets[r.current], f1Hz, sigmaCents)
	if r.held != 0 {
		r.judge(&m, f1Hz, sigmaCents)
	}
	return m
}

// judge tells whether it is the held string that sounds.
func (r *Resolver) judge(m *Match, f1Hz, sigmaCents float64) {
	seems, other := r.nearestOther(m.Target, f1Hz)
	if !(sigmaCents > 0) {
		sigmaCents = 0
	}
	m.Standing = r.holder.judge(m.Cents, other, sigmaCents)
	if m.Standing != Doubted {
		return
	}
	m.Verdict = FarOff
	if math.Abs(other) <= farCents && math.Abs(other) < math.Abs(m.Cents) {
		m.Verdict, m.Seems, m.SeemsCents = OtherString, seems, other
	}
}

// nearestOther returns the open string nearest to f1Hz, of those that are not the held one and not of the
// pitch of t, and the distance from it in cents; NaN if there is none.
func (r *Resolver) nearestOther(t Target, f1Hz float64) (nearest Target, cents float64) {
	cents = math.NaN()
	for i := range r.strings {
		s := &r.strings[i]
		if s.String == r.held || math.Abs(1200*math.Log2(s.Hz/t.Hz)) < minGap/2 {
			continue
		}
		if c := 1200 * math.Log2(f1Hz/s.Hz); !(math.Abs(c) >= math.Abs(cents)) {
			nearest, cents = *s, c
		}
	}
	return nearest, cents
}

// Confirm says that what sounds is the held string, though it does not seem to be.
func (r *Resolver) Confirm() { r.holder.confirm() }

// Against returns how a pitch lies against the targets of string n alone, whatever is nearest and
// held, and remembers nothing; the zero Match if there is no such string, or no pitch.
func (r *Resolver) Against(n int, f1Hz, sigmaCents float64) Match {
	if n < 1 || n > len(r.perString) || !(f1Hz > 0) || math.IsInf(f1Hz, 1) {
		return Match{}
	}
	t := &r.perString[n-1]
	return r.match(t.targets[t.nearest(1200*math.Log2(f1Hz))], f1Hz, sigmaCents)
}

// Beside returns how a pitch lies against a target that need not be one of the resolver's, such as what a string
// is to be tuned to before others pull it to its target; it remembers nothing.
func (r *Resolver) Beside(t Target, f1Hz, sigmaCents float64) Match {
	return r.match(t, f1Hz, sigmaCents)
}

func (t *pitchTable) nearest(c float64) int {
	i := sort.SearchFloat64s(t.cents, c)
	if i == len(t.cents) || i > 0 && c-t.cents[i-1] <= t.cents[i]-c {
		i--
	}
	return i
}

// leaves says whether a pitch of c cents has left the current target for another: whether it is
// beyond the middle of the two by the margin of Resolver.
func (t *pitchTable) leaves(current, near int, c, sigmaCents float64) bool {
	a, b := t.cents[current], t.cents[near]
	margin := math.Abs(b-a) / 10
	if m := 4 * sigmaCents; m > margin {
		margin = m
	}
	return math.Abs(c-a)-math.Abs(c-b) > 2*margin // twice the way beyond the middle
}

func (r *Resolver) match(t Target, f1Hz, sigmaCents float64) Match {
	m := Match{Target: t, Cents: 1200 * math.Log2(f1Hz/t.Hz), BeatHz: f1Hz - t.Hz}
	m.Verdict = Verdict(m.Cents, sigmaCents, r.tolerance)
	return m
}

// Verdict says how a pitch lies that is cents from its target with standard uncertainty sigma: in
// tune only if both are within the tolerance, and flat or sharp only if the uncertainty is, or if the
// deviation is at least twice as large, so that it is not the side that is in doubt.
func Verdict(cents, sigma, tolerance float64) string {
	off, sure := math.Abs(cents), sigma <= tolerance
	switch {
	case off <= tolerance && sure:
		return InTune
	case off <= tolerance || !sure && !(off >= 2*sigma):
		return Unsure
	case cents > 0:
		return Sharp
	}
	return Flat
}

// Reset forgets the target kept: the next reading is a new note.
func (r *Resolver) Reset() {
	r.current = -1
	r.holder.note()
}

// Hold makes every reading match string n (from 1), however far off; 0 lets go. What does not seem to
// be that string gets the standing Doubted.
func (r *Resolver) Hold(n int) error {
	switch {
	case n == 0:
		r.table = &r.free
	case len(r.strings) == 0:
		return errors.New("a string can be held only on an instrument; none is chosen")
	case n < 0 || n > len(r.strings):
		return fmt.Errorf("string %d: the instrument has strings 1 to %d", n, len(r.strings))
	default:
		r.table = &r.perString[n-1]
	}
	r.held, r.holder = n, newHolder()
	r.Reset()
	return nil
}

// Held returns the string held, 0 if none.
func (r *Resolver) Held() int { return r.held }

// Strings returns the open strings in the instrument's order, nil without an instrument.
func (r *Resolver) Strings() []Target { return append([]Target(nil), r.strings...) }

// belowStrings is how far below the lowest string of an instrument a pitch may lie and still be
// looked for, as a ratio: almost an octave, so that a slack string is heard, and chords whose
// notes have a common fundamental an octave down are not.
const belowStrings = 1.9

// Expected returns what may sound: the lowest pitch worth looking for, in Hz, or 0 when there is
// no telling, and, while a string is held, the frequencies of its targets. A held string may be
// any amount off.
func (r *Resolver) Expected() (lowest float64, hz []float64) {
	if r.held != 0 {
		for _, t := range r.table.targets {
			hz = append(hz, t.Hz)
		}
		return 0, hz
	}
	if len(r.strings) > 0 {
		return r.free.targets[0].Hz / belowStrings, nil
	}
	return 0, nil
}
