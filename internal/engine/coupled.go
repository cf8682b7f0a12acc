package engine

import (
	"math"
	"slices"
	"sync"

	"tunerd/internal/coupling"
	"tunerd/internal/display"
	"tunerd/internal/ensemble"
	"tunerd/internal/targets"
)

// When a reading is what a string sounds at, for [coupling.Follower]. Estimates.
const (
	steadyCents  = 0.5 // it stays within this
	steadyS      = 0.35
	attackS      = 0.25 // s after the onset, before which a pluck still glides
	surelyCents  = 1.0  // its σ at most
	strumS       = 1.0  // s after the onset at which a strum is taken, and from one time to the next
	strumCents   = 1.0  // by which a string of it has moved to be taken again
	pluckScatter = 0.1  // cents: strings ring a little differently from pluck to pluck
)

// A coupled takes what strings sound at to a Follower, and its advice to the frames. The Follower thinks in a
// goroutine of its own, as planning a pass of many strings takes longer than a block. A nil coupled does nothing.
type coupled struct {
	follower *coupling.Follower
	tell     func(*coupling.Now) // is told the advice from the Follower's goroutine
	takes    chan take
	waits    bool // for the advice on each take: the source is in no hurry
	ended    chan struct{}

	mu     sync.Mutex
	now    *coupling.Now
	words  string // of it
	said   []string
	number int

	steady steady
	strum  struct {
		known         bool
		onsetS, takeS float64
		cents         []float64 // taken, of each string
	}
}

// A take is what strings were heard at: one, or those of a strum.
type take struct {
	together bool
	readings []coupling.Reading
	done     chan struct{} // nil: nobody waits
}

// A steady finds when the reading of a note stays.
type steady struct {
	known                 bool
	taken                 bool
	str                   int
	onsetS, sinceS, cents float64
}

// NewCoupled makes what learns how the strings pull on each other. It is called when the one before has ended, so that
// it can begin with what that has learned.
type NewCoupled func() (*coupling.Follower, error)

// couple makes the framer ask a new follower from now on; none, if create is nil.
func (f *framer) couple(create NewCoupled, waits bool, tell func(*coupling.Now)) error {
	f.coupled.close()
	f.coupled = nil
	tell(nil)
	if create == nil {
		return nil
	}
	follower, err := create()
	if err != nil {
		return err
	}
	c := &coupled{follower: follower, tell: tell, takes: make(chan take, 16), waits: waits, ended: make(chan struct{})}
	c.now, c.number = follower.Now(), 1
	c.words = c.now.Words()
	tell(c.now)
	f.coupled = c
	go c.run()
	return nil
}

// close ends the follower's goroutine when it has taken in all that was heard.
func (c *coupled) close() {
	if c == nil {
		return
	}
	close(c.takes)
	<-c.ended
}

func (c *coupled) run() {
	defer close(c.ended)
	defer c.follower.End()
	for t := range c.takes {
		var err error
		if t.together {
			err = c.follower.HearAll(t.readings, ensemble.ReachCents)
		} else {
			err = c.follower.Hear(t.readings[0])
		}
		now, said := c.follower.Now(), c.follower.TakeSaid()
		if err != nil {
			said = append(said, err.Error())
		}
		c.tell(now)
		c.mu.Lock()
		c.now, c.words, c.number = now, now.Words(), c.number+1
		c.said = append(c.said, said...)
		c.mu.Unlock()
		if t.done != nil {
			close(t.done)
		}
	}
}

// hear takes what is steady in a frame to the follower.
func (c *coupled) hear(f *display.Frame) {
	if c == nil {
		return
	}
	switch {
	case f.State != display.Sounding:
		c.steady.known = false
	case f.AllStrings:
		c.hearAll(f)
	case f.Target.String > 0 && f.Target.Fret == 0 && f.Standing != display.Doubted:
		if c.steady.due(f) {
			c.send(take{readings: []coupling.Reading{readingOf(f.Target.String, f.Cents, f.SigmaCents)}})
		}
	}
}

func readingOf(str int, cents, sigma float64) coupling.Reading {
	return coupling.Reading{String: str - 1, Cents: cents, SigmaCents: math.Hypot(sigma, pluckScatter)}
}

// due tells whether the reading of f has stayed long enough, and was not taken before.
func (s *steady) due(f *display.Frame) bool {
	if !s.known || f.Target.String != s.str || f.OnsetS != s.onsetS || math.Abs(f.Cents-s.cents) > steadyCents {
		since := f.TimeS
		if !s.known || f.OnsetS != s.onsetS {
			since = max(since, f.OnsetS+attackS)
		}
		*s = steady{known: true, str: f.Target.String, onsetS: f.OnsetS, sinceS: since, cents: f.Cents}
	}
	if s.taken || f.TimeS-s.sinceS < steadyS || !(f.SigmaCents <= surelyCents) {
		return false
	}
	s.taken = true
	return true
}

// hearAll takes a strum, and takes it again where a string of it has moved.
func (c *coupled) hearAll(f *display.Frame) {
	s := &c.strum
	if f.TimeS-f.OnsetS < strumS || s.known && s.onsetS == f.OnsetS && (f.TimeS-s.takeS < strumS || !c.moved(f)) {
		return
	}
	s.known, s.onsetS, s.takeS = true, f.OnsetS, f.TimeS
	s.cents = append(s.cents[:0], make([]float64, len(f.Strings))...)
	var readings []coupling.Reading
	for i := range f.Strings {
		row := &f.Strings[i]
		s.cents[i] = math.NaN()
		if row.Active && row.Sigma <= surelyCents {
			s.cents[i] = row.Cents
			readings = append(readings, readingOf(row.Number, row.Cents, row.Sigma))
		}
	}
	if len(readings) > 0 {
		c.send(take{together: true, readings: readings})
	}
}

// moved tells whether a string of the strum that was taken sounds elsewhere now.
func (c *coupled) moved(f *display.Frame) bool {
	for i := range f.Strings {
		if row := &f.Strings[i]; row.Active && math.Abs(row.Cents-c.strum.cents[i]) > max(strumCents, 4*row.Sigma) {
			return true
		}
	}
	return false
}

// send hands a take on. One that finds no room is left out: a player does not play sixteen notes while one is
// thought about.
func (c *coupled) send(t take) {
	if c.waits {
		t.done = make(chan struct{})
		c.takes <- t
		<-t.done
		return
	}
	select {
	case c.takes <- t:
	default:
	}
}

// rows puts the newest advice into the rows of strings and returns how far the pass is.
func (c *coupled) rows(rows []display.StringRow) display.Pass {
	if c == nil {
		return display.Pass{}
	}
	c.mu.Lock()
	now, pass := c.now, display.Pass{Number: c.number, Phase: string(c.now.Phase), Next: c.now.Next, Words: c.words}
	c.mu.Unlock()
	for i := range rows {
		row := &rows[i]
		row.Now, row.Turn, row.ForecastCents, row.ForecastSigma = display.Now{}, 0, 0, 0
		row.Hear = slices.Contains(now.Missing, row.Number)
		if i >= len(now.Strings) {
			continue
		}
		s := &now.Strings[i]
		row.Now = display.Now{Hz: row.TargetHz * math.Exp2(s.NowCents/1200), Cents: s.NowCents}
		row.Turn, row.ForecastCents, row.ForecastSigma = s.Turn, s.ForecastCents, s.ForecastSigma
		if s.Turn > 0 {
			pass.Left++
		}
	}
	return pass
}

// takeSaid returns what the follower had to say next, a sentence; "": nothing.
func (c *coupled) takeSaid() string {
	if c == nil {
		return ""
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.said) == 0 {
		return ""
	}
	said := c.said[0]
	c.said = c.said[1:]
	return said
}

// advise puts beside a reading what its string is to be tuned to now, and tells whether there is such advice.
func (f *framer) advise(out *display.Frame, m targets.Match, sigma float64) bool {
	if m.String == 0 || m.Fret != 0 || m.String > len(f.rows) || f.rows[m.String-1].Now.Hz == 0 {
		return false
	}
	out.Now = f.rows[m.String-1].Now
	to := m.Target
	to.Hz = out.Now.Hz
	b := f.resolver.Beside(to, out.F1Hz, sigma)
	out.NowOff, out.NowBeatHz, out.NowVerdict = b.Cents, b.BeatHz, liveVerdict(b.Verdict)
	return true
}
