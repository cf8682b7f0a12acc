package text

import (
	"fmt"
	"io"
	"math"

	"tunerd/internal/display"
)

// When Lines prints a reading.
const (
	settledS    = 0.5 // s after the onset at which a note is printed first
	pauseS      = 0.5 // s at least from one line to the next of the same note
	changeCents = 0.5 // a change worth a line, if it is also certain
)

// Lines writes live frames as lines for people who look on without a terminal: a line for every
// note once it has settled, another when the reading has changed, and one for everything that
// happens to the input.
type Lines struct {
	w       io.Writer
	watch   watch
	current reading // the newest
	printed reading // the one on the last line
	all     chordLines
	pass    string // what was said last of strings that pull on each other
}

// nowSigma is to what part of a cent advice is written.
const nowSigma = 0.1

// A reading is what Lines remembers of a frame.
type reading struct {
	known         bool
	timeS, onsetS float64
	f1, sigma     float64
	cents, beat   float64
	target        display.Target
	verdict       string
	now           display.Now
	doubt         string // why it is not taken for the held string
}

// NewLines returns a writer of lines to w.
func NewLines(w io.Writer) *Lines { return &Lines{w: w} }

// Show writes what is worth a line in f and keeps nothing of it.
func (l *Lines) Show(f *display.Frame) error {
	if f.AllStrings || l.all.known {
		return l.chord(f)
	}
	if l.current.known && (f.State != display.Sounding || f.OnsetS != l.current.onsetS) {
		if err := l.finish(); err != nil {
			return err
		}
	}
	if err := l.tell(f); err != nil {
		return err
	}
	if f.State != display.Sounding {
		return nil
	}
	l.current = reading{true, f.TimeS, f.OnsetS, f.F1Hz, f.SigmaCents, f.Cents, f.BeatHz, f.Target, f.Verdict, f.Now, f.Doubt()}
	if f.TimeS-f.OnsetS < settledS || !l.changed() {
		return nil
	}
	return l.print()
}

// finish prints a note that has ended before it was printed.
func (l *Lines) finish() error {
	defer func() { l.current.known = false }()
	if l.printed.known && l.printed.onsetS == l.current.onsetS {
		return nil
	}
	return l.print()
}

// changed reports whether the current reading says something that the last line does not.
func (l *Lines) changed() bool {
	now, last := &l.current, &l.printed
	switch {
	case !last.known || now.onsetS != last.onsetS:
		return true
	case now.timeS-last.timeS < pauseS:
		return false
	}
	if now.doubt != "" || last.doubt != "" {
		return now.verdict != last.verdict
	}
	certain := 3 * math.Max(now.sigma, last.sigma)
	return now.target != last.target || now.verdict != last.verdict ||
		math.Abs(now.cents-last.cents) > math.Max(changeCents, certain)
}

func (l *Lines) print() error {
	l.printed = l.current
	return l.write(&l.current)
}

func (l *Lines) write(r *reading) error {
	if r.doubt != "" {
		return l.remark(r.timeS, display.Hz(r.f1, r.sigma)+" Hz "+r.doubt)
	}
	at := ""
	if r.target.String > 0 {
		at = fmt.Sprintf("  string %d", r.target.String)
		if r.target.Fret > 0 {
			at += fmt.Sprintf(" fret %d", r.target.Fret)
		}
	}
	if r.now.Hz > 0 {
		at += fmt.Sprintf("  tune to now %s Hz, %s cents", display.Hz(r.now.Hz, nowSigma), display.Cents(r.now.Cents, nowSigma))
	}
	_, err := fmt.Fprintf(l.w, "%9.2f s  %s %7s ± %s  %s  %s  beat %s Hz%s\n",
		r.timeS, pad(Clean(r.target.Label), 6), display.Cents(r.cents, r.sigma), pad(display.Sigma(r.sigma)+" cents", 11),
		pad(r.verdict, 8), pad(display.Hz(r.f1, r.sigma)+" Hz", 12), display.BeatHz(r.beat, r.f1, r.sigma), at)
	return err
}

// tell writes a line for every event but silence, and for a message that comes without one.
func (l *Lines) tell(f *display.Frame) error {
	message := f.Message
	for _, event := range l.watch.events(f) {
		if event == "silence" {
			continue
		}
		switch event {
		case "end":
			event = "end of the input"
		case "several notes":
			event = "several notes sound; --all-strings reads the strings of an instrument together"
		}
		if message != "" {
			event += ": " + message
			message = ""
		}
		if err := l.remark(f.TimeS, event); err != nil {
			return err
		}
	}
	if message != "" {
		if err := l.remark(f.TimeS, message); err != nil {
			return err
		}
	}
	if f.Pass.Words != l.pass {
		l.pass = f.Pass.Words
		if err := l.remark(f.TimeS, l.pass); err != nil {
			return err
		}
	}
	if beat := f.Beat.String(); f.Beat.Fresh && beat != "" {
		return l.remark(f.TimeS, beat)
	}
	return nil
}

func (l *Lines) remark(timeS float64, s string) error {
	_, err := fmt.Fprintf(l.w, "%9.2f s  -- %s\n", timeS, Clean(s))
	return err
}
