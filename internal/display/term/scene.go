package term

import (
	"math"
	"strconv"

	"tunerd/internal/display"
)

// A scene is everything that a drawing depends on besides size and colours.
type scene struct {
	frame   display.Frame // the newest
	last    display.Frame // the newest with a pitch
	heard   bool          // last holds one
	beat    display.Beat  // the newest that was measured; Lower is empty before
	elapsed float64       // s from the arrival of frame to this drawing
	shutter float64       // s that a drawing stays on the screen
	message string        // for the message row; empty: what the state calls for
	ended   bool          // no frame will come any more
	paused  bool
	help    int // page of the help that is open, from 1; 0: none
}

// stalledAfterS is how long, in s, a frame with a pitch counts as of now.
const stalledAfterS = 1

// sounding reports whether there is a pitch now.
func (s *scene) sounding() bool {
	return s.frame.State == display.Sounding && !s.ended && s.elapsed < stalledAfterS
}

// doubted reports whether what sounds now seems to be another string than the held one.
func (s *scene) doubted() bool {
	return s.sounding() && s.frame.Standing == display.Doubted
}

// reading returns the frame whose figures are shown, and whether it is of now; nil if no pitch
// has been heard yet.
func (s *scene) reading() (f *display.Frame, live bool) {
	switch {
	case s.sounding():
		return &s.frame, true
	case s.heard:
		return &s.last, false
	}
	return nil, false
}

// bands returns what the strobe shows: the bands of the frame, or, while nothing sounds, those
// of the last reading, so that the layout stays.
func (s *scene) bands() []display.Band {
	switch {
	case len(s.frame.Bands) > 0:
		return s.frame.Bands
	case len(s.last.Bands) > 0:
		return s.last.Bands
	}
	return firstBands
}

var firstBands = []display.Band{{Partial: 1}, {Partial: 2}, {Partial: 3}, {Partial: 4}}

// loudest returns the level of the strongest clear band, dB.
func (s *scene) loudest() float64 {
	level := math.Inf(-1)
	for i := range s.frame.Bands {
		if b := &s.frame.Bands[i]; b.Clear {
			level = max(level, b.LevelDB)
		}
	}
	return level
}

// tint is the colour family of the verdict on the reading that is shown.
func (s *scene) tint() tint {
	f, _ := s.reading()
	switch {
	case f == nil:
		return tuneTint
	case f.Verdict == "flat":
		return flatTint
	case f.Verdict == "sharp":
		return sharpTint
	case f.Verdict == "in tune":
		return tuneTint
	}
	return openTint
}

// now is the stream time of the drawing, s.
func (s *scene) now() float64 { return s.frame.TimeS + s.elapsed }

// status is the sentence of the message row and whether it calls for attention.
func (s *scene) status() (string, bool) {
	switch {
	case s.paused:
		return "frozen: space goes on", true
	case s.message != "":
		return s.message, true
	case s.passWords() != "":
		return s.passWords(), true
	case s.doubted():
		return "", false // the head says it
	case s.ended || s.frame.State == display.Ended:
		return "input ended: q quits", true
	case s.frame.State == display.Lost:
		return "input lost: waiting for it to come back", true
	case s.frame.State == display.Several && s.frame.Pair == display.Pair{}:
		if len(s.frame.Strings) == 0 {
			return "several notes sound: --all-strings with an --instrument reads them", true
		}
		return "several notes sound: m reads all strings at once", true
	case s.frame.State == display.Unsure:
		return "listening: no pitch yet", false
	case s.frame.State == display.Silent:
		return "silent: play a note", false
	case s.frame.State == "" || s.elapsed >= stalledAfterS:
		return "waiting for the input", false
	}
	return "", false
}

// passWords says what to do where strings pull on each other, while the input is there.
func (s *scene) passWords() string {
	switch s.frame.State {
	case display.Sounding, display.Silent, display.Unsure:
		if !s.ended && !s.doubted() {
			return s.frame.Pass.Words
		}
	}
	return ""
}

// centsBetween returns the interval from b up to a in cents: 1200·log2(a/b).
func centsBetween(a, b float64) float64 { return 1200 * math.Log2(a/b) }

// age writes how long ago something was, in the unit that suits.
func age(seconds float64) string {
	switch {
	case !(seconds >= 1): // also when it is not known
		return "now"
	case seconds < 100:
		return strconv.Itoa(int(seconds)) + " s"
	case seconds < 100*60:
		return strconv.Itoa(int(seconds/60)) + " min"
	case seconds < 48*3600:
		return strconv.Itoa(int(seconds/3600)) + " h"
	}
	return strconv.Itoa(int(seconds/86400)) + " d"
}
