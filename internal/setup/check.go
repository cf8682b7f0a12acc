package setup

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Settings are how a check is carried out.
type Settings struct {
	Window [2]float64 `json:"window_s"`     // after each onset, over which every pitch is read
	Plucks int        `json:"plucks"`       // of each note, at least
	Most   int        `json:"most_plucks"`  // after which an unsteady note is left at that
	Goal   float64    `json:"goal_cents"`   // standard error of a note's mean at which it is enough
	Thread float64    `json:"thread_mm"`    // of a saddle screw, mm a turn; 0: no screws
	Fixed  bool       `json:"fixed_bridge"` // one straight saddle for all strings
	Model  Model      `json:"model"`
}

// UsualSettings read the pitch while a string still sounds well and the attack is over.
var UsualSettings = Settings{Window: [2]float64{0.3, 1.5}, Plucks: 2, Most: 6, Goal: 0.3, Model: UsualModel}

// A State of an entry of a check.
type State string

// The states of an entry.
const (
	Waiting State = ""         // not played, or not often enough
	Done    State = "done"     // plucked until the mean was sure enough
	Loose   State = "unsteady" // plucked Settings.Most times, and still not
	Skipped State = "skipped"
)

// An Entry is one note of a check and what was heard of it.
type Entry struct {
	Step
	State  State   `json:"state"`
	Plucks []Pluck `json:"plucks"`
}

// A Check is an intonation check under way: which notes, what was heard, where it stands. It is
// what a file keeps; see [Save] and [Load]. It knows nothing of who asks and who listens, and
// serves one goroutine.
type Check struct {
	Board    Board    `json:"instrument"`
	Settings Settings `json:"settings"`
	Plan     Plan     `json:"plan"`
	Entries  []Entry  `json:"entries"`
	At       int      `json:"at"` // index of the entry that is asked for; len(Entries): none
	// Confirmed says that no more notes are added to be sure of single frets, Confirms how often
	// some have been.
	Confirmed bool `json:"confirmed"`
	Confirms  int  `json:"confirms,omitempty"`
	// Comment, Program and Started are for people: what was done before, version, time.
	Comment string `json:"comment,omitempty"`
	Program string `json:"program,omitempty"`
	Started string `json:"started,omitempty"`
}

// NewCheck begins a check.
func NewCheck(b *Board, p *Plan, s Settings) *Check {
	c := &Check{Board: *b, Settings: s, Plan: *p}
	for _, step := range p.Steps {
		c.Entries = append(c.Entries, Entry{Step: step})
	}
	return c
}

// A Prompt is what to play now.
type Prompt struct {
	Note
	Index  int     `json:"index"` // from 0
	Of     int     `json:"of"`
	Label  string  `json:"label"`
	Hz     float64 `json:"hz"`          // where it is expected
	How    string  `json:"how"`         // what to do
	Why    string  `json:"why"`         // what for
	Plucks int     `json:"plucks"`      // heard so far
	Need   int     `json:"need"`        // at least so many more
	Mean   float64 `json:"cents"`       // of those heard, against the open string's pitch; 0 if none
	Error  float64 `json:"error_cents"` // standard error of the mean; 0 if it is not known
}

// Prompt returns what to play now, and false when the plan is through.
func (c *Check) Prompt() (Prompt, bool) {
	if c.At >= len(c.Entries) {
		return Prompt{Index: len(c.Entries), Of: len(c.Entries)}, false
	}
	e := &c.Entries[c.At]
	p := Prompt{
		Note: e.Note, Index: c.At, Of: len(c.Entries), Label: c.Board.Label(e.Note),
		Hz: c.expectedHz(e.Note), How: c.how(e.Note), Why: e.Why,
		Plucks: len(e.Plucks), Need: max(c.Settings.Plucks-len(e.Plucks), 1),
	}
	if len(e.Plucks) > 0 {
		base, _ := c.openCents(e.String)
		mean, _ := moments(c.centsOf(e))
		p.Mean, p.Error = mean-base, c.meanError(e)
	}
	return p, true
}

// how tells the hand what to do.
func (c *Check) how(n Note) string {
	i, _ := c.Board.at(n.String)
	s := &c.Board.Strings[i]
	switch {
	case n.Fret > 0:
		return fmt.Sprintf("press string %d at fret %d, just behind the wire, as when playing", n.String, n.Fret)
	case n.Harmonic > 0:
		at := s.ScaleMM / float64(n.Harmonic)
		return fmt.Sprintf("touch string %d lightly %.0f mm from the nut%s, pluck, let go", n.String, at, nearFret(s, at))
	}
	return fmt.Sprintf("pluck string %d open", n.String)
}

// nearFret says where on the board a place is.
func nearFret(s *String, mm float64) string {
	best, off := 0, math.Inf(1)
	for k, f := range s.Frets {
		if d := mm - f.NutMM; math.Abs(d) < math.Abs(off) {
			best, off = k+1, d
		}
	}
	switch {
	case math.Abs(off) < 0.5:
		return fmt.Sprintf(" (over fret %d)", best)
	case off > 0:
		return fmt.Sprintf(" (%.0f mm past fret %d)", off, best)
	}
	return fmt.Sprintf(" (%.0f mm before fret %d)", -off, best)
}

// openCents returns the mean pitch of the open string as heard so far, against the drawing.
func (c *Check) openCents(str int) (float64, bool) {
	var all []float64
	for i := range c.Entries {
		if e := &c.Entries[i]; e.String == str && e.Open() {
			all = append(all, c.centsOf(e)...)
		}
	}
	mean, _ := moments(all)
	return mean, len(all) > 0
}

// expectedHz is the pitch of a note upon the open string as it was heard.
func (c *Check) expectedHz(n Note) float64 {
	base, _ := c.openCents(n.String)
	return c.Board.Hz(n) * math.Exp2(base/1200)
}

// Expect returns what a tracker should look for: the lowest pitch worth looking for, and where the
// note asked for lies.
func (c *Check) Expect() (lowest float64, hz []float64) {
	lowest = math.Inf(1)
	for _, s := range c.Board.Strings {
		lowest = min(lowest, s.OpenHz)
	}
	if p, ok := c.Prompt(); ok {
		hz = []float64{p.Hz}
	}
	return lowest / 1.2, hz
}

// centsOf returns the plucks of an entry in cents against the drawing, without strays.
func (c *Check) centsOf(e *Entry) []float64 {
	want := c.Board.Hz(e.Note)
	var all []float64
	for _, p := range sound(e.Plucks) {
		all = append(all, Cents(p.F1Hz, want))
	}
	return all
}

// An Answer says what became of a pluck.
type Answer struct {
	Taken bool   `json:"taken"`
	Done  bool   `json:"done"` // the note is through, and the next one is asked for
	Text  string `json:"text"`
	// Cents is the pluck against where the note was expected, Error the standard error of the mean
	// so far; 0 after the first pluck.
	Cents float64 `json:"cents"`
	Error float64 `json:"error_cents"`
}

// Offer gives the check a pluck for the note that it asks for. A pitch that is another note is not
// taken.
func (c *Check) Offer(p Pluck) Answer {
	if c.At >= len(c.Entries) {
		return Answer{Text: "the check is through; nothing more is asked for"}
	}
	e := &c.Entries[c.At]
	if !p.valid() {
		return Answer{Text: "no pitch; once more"}
	}
	if wrong := c.wrong(e.Note, p.F1Hz); wrong != "" {
		return Answer{Text: wrong}
	}
	answer := Answer{Taken: true, Text: "once more", Cents: Cents(p.F1Hz, c.expectedHz(e.Note))}
	e.Plucks = append(e.Plucks, p)
	answer.Error = c.meanError(e)
	e.State = c.settle(e)
	if e.State != Waiting {
		answer.Done, answer.Text = true, string(e.State)
		c.advance()
	}
	return answer
}

// meanError returns the standard error of the mean of an entry's plucks; 0 with fewer than two.
func (c *Check) meanError(e *Entry) float64 {
	all := c.centsOf(e)
	_, sd := moments(all)
	return sd / math.Sqrt(float64(max(len(all), 1)))
}

// settle says whether an entry has been plucked often enough.
func (c *Check) settle(e *Entry) State {
	n := len(e.Plucks)
	switch {
	case n < c.Settings.Plucks:
		return Waiting
	case c.meanError(e) <= c.Settings.Goal:
		return Done
	case n >= c.Settings.Most:
		return Loose
	}
	return Waiting
}

// advance goes to the next entry that waits, from here on.
func (c *Check) advance() {
	for c.At < len(c.Entries) && c.Entries[c.At].State != Waiting {
		c.At++
	}
}

// Skip leaves the note asked for out.
func (c *Check) Skip() {
	if c.At < len(c.Entries) {
		c.Entries[c.At].State = Skipped
		c.Entries[c.At].Plucks = nil
		c.advance()
	}
}

// Accept is content with the note asked for as it is; it says false if nothing was heard yet.
func (c *Check) Accept() bool {
	if c.At >= len(c.Entries) || len(c.Entries[c.At].Plucks) == 0 {
		return false
	}
	c.Entries[c.At].State = Done
	c.advance()
	return true
}

// Redo forgets the plucks of the note asked for, or if it has none those of the note before, and
// asks for it again.
func (c *Check) Redo() {
	if c.At > 0 && (c.At >= len(c.Entries) || len(c.Entries[c.At].Plucks) == 0) {
		c.At--
	}
	_ = c.GoTo(c.At)
}

// GoTo asks for entry i (from 0) afresh.
func (c *Check) GoTo(i int) error {
	if i < 0 || i >= len(c.Entries) {
		return fmt.Errorf("note %d does not exist: 1 to %d", i+1, len(c.Entries))
	}
	c.At = i
	c.Entries[i].State, c.Entries[i].Plucks = Waiting, nil
	return nil
}

// Put files a pluck under its own note, whichever is asked for: that is how recordings come in. A
// note that is not in the plan is added to it.
func (c *Check) Put(n Note, p Pluck) error {
	if err := c.Board.checkNote(n); err != nil {
		return err
	}
	if !p.valid() {
		return fmt.Errorf("%s: no pitch", n.Text())
	}
	if wrong := c.wrong(n, p.F1Hz); wrong != "" {
		return fmt.Errorf("%s", wrong)
	}
	i := slices.IndexFunc(c.Entries, func(e Entry) bool { return e.Note == n })
	if i < 0 {
		i = len(c.Entries)
		c.Entries = append(c.Entries, Entry{Step: Step{Note: n, Why: "it was recorded"}})
	}
	c.Entries[i].Plucks = append(c.Entries[i].Plucks, p)
	c.Entries[i].State = Done
	return nil
}

// How far a pitch may lie from where it is expected, cents: an open string that is further off
// must be tuned first, and a fretted note is nearer to another fret before that.
const (
	wrongCents = 50.0
	alikeCents = 30.0
)

// sharpShare is the part of the way to the next fret up to which a note may be sharp because the nut
// is high.
const sharpShare = 0.85

// mostPressed returns how sharp a fretted note may be for a high nut, cents.
func (c *Check) mostPressed(n Note) float64 {
	i, _ := c.Board.at(n.String)
	s := &c.Board.Strings[i]
	elastic, _ := s.elasticity()
	p := body{scaleMM: s.ScaleMM, elastic: elastic, heightMM2: mostHeightMM * mostHeightMM, actionMM: actionMM, fingerMM: fingerMM}
	return p.nutSharpness(s.stop(n.Fret - 1))
}

// wrong says why a pitch is not note n; empty if it may be.
func (c *Check) wrong(n Note, hz float64) string {
	off := Cents(hz, c.expectedHz(n))
	limit, nearest := wrongCents, math.Inf(1)
	for _, other := range c.notesOf(n.String) {
		if other == n || n.Open() || n.Harmonic > 0 || other.Harmonic > 0 { // a harmonic is touched, not pressed by mistake
			continue
		}
		if gap := math.Abs(Cents(c.Board.Hz(other), c.Board.Hz(n))); gap > 1 {
			nearest = min(nearest, gap)
		}
	}
	limit = min(limit, nearest/2)
	up := limit
	if n.Fret > 0 {
		up = max(limit, min(limit+c.mostPressed(n), sharpShare*nearest))
	}
	if -limit <= off && off <= up {
		return ""
	}
	for _, other := range c.notesOf(n.String) {
		if n.Fret > 0 && other.Harmonic > 0 {
			continue // more likely the wrong fret than a harmonic
		}
		if other != n && math.Abs(Cents(hz, c.expectedHz(other))) < min(alikeCents, limit) {
			return fmt.Sprintf("that sounds like %s; wanted %s", other.Text(), n.Short())
		}
	}
	if n.Open() {
		return fmt.Sprintf("%s reads %+.0f cents off its target; tune it first", n.Text(), off)
	}
	return fmt.Sprintf("that is %+.0f cents from %s", off, n.Text())
}

// notesOf lists the open string, its harmonics and its frets.
func (c *Check) notesOf(str int) []Note {
	i, ok := c.Board.at(str)
	if !ok {
		return nil
	}
	notes := []Note{{String: str}}
	for h := 2; h <= maxHarmonic; h++ {
		notes = append(notes, Note{String: str, Harmonic: h})
	}
	for k := range c.Board.Strings[i].Frets {
		notes = append(notes, Note{String: str, Fret: k + 1})
	}
	return notes
}

// sound leaves out the plucks that stray: with three or more, those further from the median than
// 1.5 cents and five times the median distance from it.
func sound(plucks []Pluck) []Pluck {
	if len(plucks) < 3 {
		return plucks
	}
	middle := median(plucks, func(p Pluck) float64 { return p.F1Hz })
	off := func(p Pluck) float64 { return math.Abs(Cents(p.F1Hz, middle)) }
	limit := max(1.5, 5*1.4826*median(plucks, off))
	var kept []Pluck
	for _, p := range plucks {
		if off(p) <= limit {
			kept = append(kept, p)
		}
	}
	return kept
}

func median(plucks []Pluck, of func(Pluck) float64) float64 {
	all := make([]float64, len(plucks))
	for i, p := range plucks {
		all[i] = of(p)
	}
	sort.Float64s(all)
	n := len(all)
	return (all[(n-1)/2] + all[n/2]) / 2
}

// moments returns mean and standard deviation; 0 where there is too little.
func moments(all []float64) (mean, sd float64) {
	if len(all) == 0 {
		return 0, 0
	}
	for _, x := range all {
		mean += x / float64(len(all))
	}
	if len(all) < 2 {
		return mean, 0
	}
	for _, x := range all {
		sd += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(sd / float64(len(all)-1))
}
