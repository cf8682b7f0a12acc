package journal

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Of the verdict on a string. Common practice, no source: a cent is what a careful ear leaves, and
// strings that settle do so within a few tunings.
const (
	settledCents  = 1.0 // a string that moves less from one session to the next stands
	calmer        = 0.7 // of a string that settles the later moves are at most such a part of the earlier
	enoughMoves   = 3   // to say that a string does not settle
	retunedCents  = 60  // a move larger than this is another tuning or another string, not drift
	certainSigmas = 2
)

// What a string can be: a reading further off its target than otherString, in cents, is of another
// string, and so is one that is more than retunedCents off and nearer to the target of another open
// string of the same session. Common practice, no source: strings next to one another are a whole tone
// to a fifth apart on most instruments, and one that is half of that off was not tuned yet.
const otherString = 250

// Verdicts on a string.
const (
	TooFew       = "too few sessions"
	Settled      = "settled"
	Settling     = "settling"
	NeverSettles = "does not settle"
)

// A Drift is what became of the open strings of an instrument over its sessions.
type Drift struct {
	Instrument Instrument    // as it was first asked for
	Strings    []StringDrift // in the order of their numbers
	Restrung   []Restrung    // in the order of time
	LeftOut    []LeftOut     // by string, and by what it seems to be
}

// LeftOut are readings that were kept for an open string, but cannot be of it.
type LeftOut struct {
	String      int
	Label       string // of the newest target of String
	Seems       int    // string whose target is the nearest; 0: none is nearer
	Readings    int
	Sessions    []int64 // in the order of their start
	Least, Most float64 // of the deviations from the target of String, cents
}

// A StringDrift is the story of one string.
type StringDrift struct {
	Number   int       `json:"string"`
	Label    string    `json:"label"` // of the newest target
	Sittings []Sitting `json:"-"`
	Moves    []Move    `json:"-"`
	// Since is when the string was last changed as far as is known, else zero; Typical is the root mean square
	// of the moves since then in cents, NaN without any, and Verdict what they say.
	Since   time.Time `json:"-"`
	Typical float64   `json:"typical_cents"`
	Verdict string    `json:"verdict"`
}

// A Sitting is the open string in one session: as it was found, and as it was left.
type Sitting struct {
	Session     int64
	Found, Left Pitch
}

// A Pitch is one reading of an open string.
type Pitch struct {
	At         time.Time
	F1Hz       float64
	SigmaCents float64
	Cents      float64 // against the target of that session
}

// A Move is what the string did by itself between two sessions, from the pitch that it was left
// with to the one that it was found with: 1200·log2(found/left). Positive is sharp.
type Move struct {
	From, To   time.Time
	Cents      float64
	SigmaCents float64 // of both readings together
	Retuned    bool    // too large for drift, or the string was changed in between
}

// A Restrung is a change of strings: told by an event, or seen by the gauges of two sessions.
type Restrung struct {
	At     time.Time
	String int // from 1; 0: all
	Text   string
	Event  int64 // 0: seen, not told
}

// Drift reads the story of an instrument, which may have gone by several names, from the sessions since
// a time. What is done to the strings outside of kept sessions looks like drift; the journal cannot
// know better.
func (j *Journal) Drift(ctx context.Context, of []Instrument, since time.Time) (*Drift, error) {
	if len(of) == 0 {
		return &Drift{}, nil
	}
	d := &Drift{Instrument: of[0]}
	events, err := j.Events(ctx, of...)
	if err != nil {
		return nil, err
	}
	for _, e := range events {
		if e.Kind == NewStrings && !e.At.Before(since) {
			d.Restrung = append(d.Restrung, Restrung{e.At, e.String, e.Text, e.ID})
		}
	}
	strung := map[int]String{} // as last seen
	err = j.store.Walk(ctx, Filter{Instruments: of, Since: since}, func(s *Session, batches []Batch) error {
		for _, b := range batches {
			d.sit(s, b.Readings)
		}
		for i := range s.Strings {
			now := &s.Strings[i]
			if text := now.changedFrom(strung[now.Number]); text != "" {
				d.Restrung = append(d.Restrung, Restrung{At: s.Started, String: now.Number, Text: text})
			}
			strung[now.Number] = *now
		}
		return nil
	})
	if err != nil {
		return nil, stored(err)
	}
	slices.SortStableFunc(d.Restrung, func(a, b Restrung) int { return a.At.Compare(b.At) })
	for i := range d.Strings {
		d.Strings[i].judge(d.Restrung)
	}
	return d, nil
}

// changedFrom says what differs between two strings of the same place, or nothing. Only what is
// known of both can differ.
func (s *String) changedFrom(old String) string {
	var what []string
	if s.GaugeMM > 0 && old.GaugeMM > 0 && s.GaugeMM != old.GaugeMM {
		what = append(what, fmt.Sprintf("gauge %g mm after %g mm", s.GaugeMM, old.GaugeMM))
	}
	if s.Material != "" && old.Material != "" && s.Material != old.Material {
		what = append(what, s.Material+" after "+old.Material)
	}
	return strings.Join(what, ", ")
}

// sit adds what a session says of the open strings.
func (d *Drift) sit(s *Session, readings []Reading) {
	for i := range readings {
		r := &readings[i]
		if r.String == 0 || r.Fret != 0 || r.Harmonic != 0 || r.Mark != "" || !(r.F1Hz > 0) || !(r.SigmaCents >= 0) {
			continue
		}
		if off, seems, isOther := s.otherString(r); isOther {
			d.leaveOut(s, r, off, seems)
			continue
		}
		p := Pitch{s.Started, r.F1Hz, r.SigmaCents, r.Cents}
		if r.File == "" { // live: the time runs on; recordings have times of their own
			p.At = p.At.Add(time.Duration(r.TimeS * float64(time.Second)))
		}
		str := d.string(r.String)
		str.Label = r.Label
		if n := len(str.Sittings); n > 0 && str.Sittings[n-1].Session == s.ID {
			str.Sittings[n-1].Left = p
		} else {
			str.Sittings = append(str.Sittings, Sitting{s.ID, p, p})
		}
	}
}

// otherString tells whether a reading of an open string must be of another one, of which string it
// seems to be (0: of none), and how far, in cents, it is off its target.
func (s *Session) otherString(r *Reading) (off float64, seems int, isOther bool) {
	target := r.TargetHz
	for i := range s.Strings {
		if s.Strings[i].Number == r.String && s.Strings[i].TargetHz > 0 {
			target = s.Strings[i].TargetHz
		}
	}
	if !(target > 0) {
		return 0, 0, false
	}
	off = cents(r.F1Hz, target)
	nearest := math.Abs(off)
	if nearest <= retunedCents {
		return off, 0, false
	}
	for i := range s.Strings {
		other := &s.Strings[i]
		if other.Number == r.String || !(other.TargetHz > 0) {
			continue
		}
		if far := math.Abs(cents(r.F1Hz, other.TargetHz)); far < nearest {
			nearest, seems = far, other.Number
		}
	}
	return off, seems, seems != 0 || math.Abs(off) > otherString
}

// leaveOut counts a reading that is of another string.
func (d *Drift) leaveOut(s *Session, r *Reading, off float64, seems int) {
	i, ok := slices.BinarySearchFunc(d.LeftOut, LeftOut{String: r.String, Seems: seems}, func(a, b LeftOut) int {
		return cmp.Or(cmp.Compare(a.String, b.String), cmp.Compare(a.Seems, b.Seems))
	})
	if !ok {
		d.LeftOut = slices.Insert(d.LeftOut, i, LeftOut{String: r.String, Seems: seems, Least: off, Most: off})
	}
	l := &d.LeftOut[i]
	l.Readings++
	l.Label = r.Label
	l.Least, l.Most = math.Min(l.Least, off), math.Max(l.Most, off)
	if n := len(l.Sessions); n == 0 || l.Sessions[n-1] != s.ID {
		l.Sessions = append(l.Sessions, s.ID)
	}
}

// Words say what was left out, and why.
func (l *LeftOut) Words() string {
	as := fmt.Sprintf("more than %d cents off", otherString)
	if l.Seems > 0 {
		as = fmt.Sprintf("nearer to string %d", l.Seems)
	}
	off := fmt.Sprintf("%+.0f", l.Least)
	if l.Most-l.Least >= 1 {
		off += fmt.Sprintf(" to %+.0f", l.Most)
	}
	of, in := "1 reading", fmt.Sprintf("session %d", l.Sessions[0])
	if l.Readings > 1 {
		of = fmt.Sprintf("%d readings", l.Readings)
	}
	if n := len(l.Sessions); n > 1 {
		in = fmt.Sprintf("%d sessions, the last %d", n, l.Sessions[n-1])
	}
	return fmt.Sprintf("left out: string %d: %s in %s: %s cents, %s", l.String, of, in, off, as)
}

// string returns string n, which it makes if it is new.
func (d *Drift) string(n int) *StringDrift {
	i, ok := slices.BinarySearchFunc(d.Strings, n, func(s StringDrift, n int) int { return s.Number - n })
	if !ok {
		d.Strings = slices.Insert(d.Strings, i, StringDrift{Number: n})
	}
	return &d.Strings[i]
}

// judge finds the moves, and what those since the last change of the string say.
func (s *StringDrift) judge(all []Restrung) {
	var changes []time.Time
	for _, c := range all {
		if c.String == 0 || c.String == s.Number {
			changes = append(changes, c.At)
		}
	}
	for i := 1; i < len(s.Sittings); i++ {
		left, found := s.Sittings[i-1].Left, s.Sittings[i].Found
		m := Move{
			From: left.At, To: found.At,
			Cents: cents(found.F1Hz, left.F1Hz), SigmaCents: math.Hypot(left.SigmaCents, found.SigmaCents),
		}
		m.Retuned = math.Abs(m.Cents) > retunedCents || slices.ContainsFunc(changes, func(t time.Time) bool {
			return t.After(left.At) && !t.After(found.At)
		})
		s.Moves = append(s.Moves, m)
	}
	if n := len(changes); n > 0 {
		s.Since = changes[n-1]
	}
	var since []Move
	for _, m := range s.Moves {
		if !m.From.Before(s.Since) && !m.Retuned {
			since = append(since, m)
		}
	}
	s.Typical, s.Verdict = rms(since), verdict(since)
}

func rms(moves []Move) float64 {
	sum := 0.0
	for _, m := range moves {
		sum += m.Cents * m.Cents
	}
	return math.Sqrt(sum / float64(len(moves)))
}

// verdict judges the moves of a string in the order of time. It is settled if the last two were
// small, settling if the later half was calmer than the earlier one.
func verdict(moves []Move) string {
	n := len(moves)
	if n < 2 {
		return TooFew
	}
	still := func(m Move) bool {
		return math.Abs(m.Cents) <= math.Max(settledCents, certainSigmas*m.SigmaCents)
	}
	switch {
	case still(moves[n-1]) && still(moves[n-2]):
		return Settled
	case n < enoughMoves:
		return TooFew
	case rms(moves[n-n/2:]) <= calmer*rms(moves[:n/2]):
		return Settling
	}
	return NeverSettles
}
