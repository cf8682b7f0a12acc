package engine

import (
	"fmt"
	"math"
	"slices"

	"tunerd/internal/capture"
	"tunerd/internal/display"
	"tunerd/internal/ensemble"
	"tunerd/internal/pitch"
	"tunerd/internal/targets"
)

// A ChordTracker reads several strings that sound at once. *ensemble.Tracker is one.
type ChordTracker interface {
	// Push takes the next samples, the first of which has index start. Live, it calls emit with
	// every reading that they complete; the reading is valid only during the call.
	Push(samples []float64, start int64, emit func(*ensemble.Chord))
	// Flush ends a chord that still sounds at the end of the input.
	Flush()
}

// NewChords makes a ChordTracker for strings, which are those of the resolver. onChord, if not
// nil, is called with every whole chord; else the tracker is live.
type NewChords func(sampleRate float64, strings []targets.Target, onChord func(*ensemble.Chord)) (ChordTracker, error)

// Words for a string of a chord that has no verdict.
const (
	silentString = "silent" // it does not sound
	hiddenString = "hidden" // all that could be heard of it coincides with other strings
)

// An analyzer is what the samples of a session go through.
type analyzer interface {
	push(b capture.Block)
	flush()
	expect(r Resolver) // what may sound has changed
}

// A noteAnalyzer reads one note at a time.
type noteAnalyzer struct {
	tracker Tracker
	emit    func(*pitch.Reading)
}

func (e *noteAnalyzer) push(b capture.Block) { e.tracker.Push(b.Samples, b.Start, e.emit) }
func (e *noteAnalyzer) flush()               { e.tracker.Flush() }
func (e *noteAnalyzer) expect(r Resolver)    { e.tracker.Expect(r.Expected()) }

// A chordAnalyzer reads all strings at once.
type chordAnalyzer struct {
	create NewChords
	rate   float64      // Hz
	chords ChordTracker // nil: not with these strings
	hz     []float64    // of the strings that it was made for
	emit   func(*ensemble.Chord)
	fail   func(error)
}

func (e *chordAnalyzer) push(b capture.Block) {
	if e.chords != nil {
		e.chords.Push(b.Samples, b.Start, e.emit)
	}
}

func (e *chordAnalyzer) flush() {
	if e.chords != nil {
		e.chords.Flush()
	}
}

func (e *chordAnalyzer) expect(r Resolver) {
	strings := r.Strings()
	if e.chords != nil && e.hears(strings) {
		return
	}
	e.hz = e.hz[:0]
	for _, s := range strings {
		e.hz = append(e.hz, s.Hz)
	}
	var err error
	if e.chords, err = e.create(e.rate, strings, nil); err != nil {
		e.chords = nil
		e.fail(err)
	}
}

// hears reports whether the strings are those that it was made for.
func (e *chordAnalyzer) hears(strings []targets.Target) bool {
	return slices.EqualFunc(strings, e.hz, func(s targets.Target, hz float64) bool { return s.Hz == hz })
}

// chord returns the frame of one reading of all strings.
func (f *framer) chord(c *ensemble.Chord) *display.Frame {
	f.timeS = f.seconds(c.At)
	out := f.blank(display.Unsure)
	out.LevelDB, out.WindowS = c.LevelDB, c.WindowS
	out.NewOnset = c.New
	out.AfterGap = f.gap || c.AfterGap
	out.Message = f.message
	f.gap, f.message = false, ""
	if out.Message == "" {
		out.Message = f.coupled.takeSaid()
	}
	if c.Silent {
		out.State = display.Silent
	} else {
		out.OnsetS = f.seconds(c.Onset)
	}
	f.tellUnlisted(out, c)
	for i := range c.Strings {
		if f.stringRow(i, &c.Strings[i]) {
			out.State = display.Sounding
		}
	}
	out.Strings = append(out.Strings, f.rows...)
	return out
}

// unlistedWindowS is how long (s) a live reading must be to name a string that is not listed.
const unlistedWindowS = 0.9

// tellUnlisted names, once a chord, a string that sounds and is none of the instrument's.
func (f *framer) tellUnlisted(out *display.Frame, c *ensemble.Chord) {
	if len(c.Unlisted) == 0 || c.WindowS < unlistedWindowS || out.Message != "" || f.unlistedAt == c.Onset+1 {
		return
	}
	out.Message = fmt.Sprintf("also sounding: %.1f Hz, not a string of this instrument", c.Unlisted[0])
	f.unlistedAt = c.Onset + 1
}

// stringRow puts the reading of a string into its row and reports whether it may sound.
func (f *framer) stringRow(i int, r *ensemble.StringReading) bool {
	row := &f.rows[i]
	row.Active, row.Hidden = r.Sounding, r.Hidden
	switch {
	case r.Hidden:
		row.Verdict = hiddenString
	case !r.Sounding:
		row.Verdict = silentString
	}
	if !r.Sounding {
		return r.Hidden
	}
	m := f.resolver.Against(row.Number, r.F1Hz, r.SigmaCents)
	row.Read, row.Cents, row.Sigma, row.AtS = true, m.Cents, r.SigmaCents, f.timeS
	row.F1Hz, row.BeatHz, row.Verdict = r.F1Hz, m.BeatHz, liveVerdict(m.Verdict)
	row.Inharmonicity, row.SNRdB, row.Partial1Hz = r.B, r.SNRdB, r.Partial1Hz
	return true
}

// chordNotes turns a whole chord into notes, one for each string: also for those that are silent,
// unless all are.
func chordNotes(r Resolver, c *ensemble.Chord) []*Note {
	var notes []*Note
	sounding := false
	strings := r.Strings()
	for i := range c.Strings {
		s := &c.Strings[i]
		sounding = sounding || s.Sounding
		n := &Note{Note: pitch.Note{Start: c.Onset, End: c.End}}
		n.Reading = pitch.Reading{
			Onset: c.Onset, State: pitch.Sounding, LevelDB: s.LevelDB,
			Result: pitch.Result{
				At: c.At, WindowS: c.WindowS, F1Hz: s.F1Hz, SigmaCents: s.SigmaCents, Partial1Hz: s.Partial1Hz,
				B: s.B, BSigma: s.BSigma, SNRdB: s.SNRdB,
			},
		}
		n.Match = targets.Match{Target: strings[i], Verdict: silentString}
		if s.Sounding || s.Hidden {
			n.Match = r.Against(i+1, s.F1Hz, s.SigmaCents)
		}
		if s.Hidden {
			n.Match.Verdict = hiddenString
		}
		if !s.Sounding {
			none(n, s.Hidden)
		}
		notes = append(notes, n)
	}
	if !sounding {
		return nil
	}
	return notes
}

// none marks what is not known of a string that is not heard by itself.
func none(n *Note, hidden bool) {
	nan := math.NaN()
	n.State, n.Partial1Hz = pitch.Silent, 0
	n.B, n.BSigma, n.SNRdB, n.LevelDB = nan, nan, nan, nan
	if !hidden {
		n.F1Hz, n.SigmaCents, n.Match.Cents, n.Match.BeatHz = nan, nan, nan, nan
	}
}
