package coupling

import (
	"fmt"
	"math"
	"strings"
)

// A Lesson learns on purpose: it asks to hear all strings, then to lower one after the other, and to hear all
// strings after each. It knows neither terminal nor page.
type Lesson struct {
	learner *Learner
	hz      []float64 // targets
	labels  []string
	take    int // strings lowered so far; it hears take 0 first
	heard   Heard
}

const (
	// lowerCents is by how much a string is to be lowered: enough to be seen on others, and never too tight.
	lowerCents = 30
	// loweredCents is the least that a string has to have come down to be taken as lowered.
	loweredCents = 10
	// nearCents is how far from where it is believed a string may sound and still be taken for that string.
	nearCents = 80
)

// NewLesson begins with strings that are to sound at hz.
func NewLesson(l *Learner, hz []float64, labels []string) *Lesson {
	return &Lesson{learner: l, hz: hz, labels: labels}
}

// Done tells whether all strings were lowered and heard.
func (s *Lesson) Done() bool { return s.take > len(s.hz) }

// Taught tells whether a string was lowered and all were heard after it: before that nothing is learned.
func (s *Lesson) Taught() bool { return s.take > 1 }

// Prompt says what to do next.
func (s *Lesson) Prompt() string {
	missing := s.heard.Missing(len(s.hz))
	switch {
	case s.Done():
		return "all strings were lowered and heard"
	case len(missing) < len(s.hz):
		names := make([]string, len(missing))
		for i, m := range missing {
			names[i] = s.name(m - 1)
		}
		return "now " + strings.Join(names, ", ")
	case s.take == 0:
		return fmt.Sprintf("play all %d strings, one after the other, each damped before the next", len(s.hz))
	}
	return fmt.Sprintf("lower string %s by about %d cents, then play all strings again, this one first", s.name(s.take-1), lowerCents)
}

func (s *Lesson) name(i int) string { return fmt.Sprintf("%d (%s)", i+1, s.labels[i]) }

// Hear takes in a pluck and says what came of it, "" if nothing needs to be said.
func (s *Lesson) Hear(hz, sigma float64) (said string, err error) {
	if s.Done() {
		return "", nil
	}
	str, cents, ok := s.stringOf(hz)
	if !ok {
		return fmt.Sprintf("%.2f Hz is near none of the strings; left out", hz), nil
	}
	if str == s.take-1 && s.take > 0 {
		if was, _ := s.learner.Cents(); cents > was[str]-loweredCents {
			return fmt.Sprintf("string %s sounds %+.1f cents from where it was; it is to be lowered first", s.name(str), cents-was[str]), nil
		}
	}
	s.heard.Add(str, cents, sigma)
	if len(s.heard.Missing(len(s.hz))) > 0 {
		return "", nil
	}
	err = s.learner.Take(Take{Number: s.take + 1, Turned: s.take}, s.heard.Readings())
	s.take++
	s.heard = Heard{}
	var words []string
	for _, o := range s.learner.TakeOdd() {
		words = append(words, o.Words())
	}
	return strings.Join(words, "; "), err
}

// stringOf finds the string that sounds at hz, from where each is believed to be; of several in unison the one
// that is still to be heard.
func (s *Lesson) stringOf(hz float64) (str int, cents float64, ok bool) {
	believed, _ := s.learner.Cents()
	missing := map[int]bool{}
	for _, m := range s.heard.Missing(len(s.hz)) {
		missing[m-1] = true
	}
	best := math.Inf(1)
	for i, target := range s.hz {
		c := 1200 * math.Log2(hz/target)
		at := believed[i]
		if i == s.take-1 && missing[i] {
			at -= lowerCents
		}
		far := math.Abs(c - at)
		if !missing[i] {
			far += nearCents / 8 // heard already: one in unison with it is likelier
		}
		if far < best {
			best, str, cents = far, i, c
		}
	}
	return str, cents, best <= nearCents
}
