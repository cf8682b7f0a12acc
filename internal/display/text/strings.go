package text

import (
	"fmt"
	"math"

	"tunerd/internal/display"
)

// A stringsLine is a reading of all strings at once.
type stringsLine struct {
	Type    string          `json:"type"`
	TimeS   Number          `json:"t_s"`
	StartS  Number          `json:"start_s"`
	WindowS Number          `json:"window_s"`
	LevelDB Number          `json:"level_db"`
	Strings []stringReading `json:"strings"`
}

type stringReading struct {
	String        int    `json:"string"`
	Label         string `json:"label"`
	Hz            Number `json:"hz"`
	State         string `json:"state"`
	F1Hz          Number `json:"f1_hz"`
	F1SigmaCents  Number `json:"f1_sigma_cents"`
	Partial1Hz    Number `json:"partial1_hz"`
	Inharmonicity Number `json:"inharmonicity"`
	SNRdB         Number `json:"snr_db"`
	Cents         Number `json:"cents"`
	CentsSigma    Number `json:"cents_sigma"`
	BeatHz        Number `json:"beat_hz"`
	*passFields
}

// stringsOf returns the line of a frame that tells of all strings.
func stringsOf(f *display.Frame) *stringsLine {
	line := &stringsLine{
		Type: "strings", TimeS: Number(f.TimeS), StartS: Number(f.OnsetS), WindowS: Number(f.WindowS),
		LevelDB: Number(f.LevelDB), Strings: make([]stringReading, len(f.Strings)),
	}
	for i := range f.Strings {
		row := &f.Strings[i]
		s := stringReading{
			String: row.Number, Label: row.Label, Hz: Number(row.TargetHz), State: row.Verdict,
			F1Hz: unknown, F1SigmaCents: unknown, Partial1Hz: unknown, Inharmonicity: unknown, SNRdB: unknown,
			Cents: unknown, CentsSigma: unknown, BeatHz: unknown, passFields: passOf(row),
		}
		if row.Active {
			s.F1Hz, s.F1SigmaCents, s.Partial1Hz = Number(row.F1Hz), Number(row.Sigma), positive(row.Partial1Hz)
			s.Inharmonicity, s.SNRdB = Number(row.Inharmonicity), Number(row.SNRdB)
			s.Cents, s.CentsSigma, s.BeatHz = Number(row.Cents), Number(row.Sigma), Number(row.BeatHz)
		}
		line.Strings[i] = s
	}
	return line
}

// When Lines prints all strings.
const (
	chordSettledS = 1.0 // s after the onset at which they are printed first
	chordPauseS   = 2.0 // s at least from one time to the next of the same chord
)

// A chordLines remembers what of a chord has been printed.
type chordLines struct {
	known, fresh   bool // a frame is held; it has not been printed
	frame, printed display.Frame
}

// chord takes a frame that tells of all strings.
func (l *Lines) chord(f *display.Frame) error {
	c := &l.all
	sounding := f.State == display.Sounding
	if c.known && (!sounding || f.OnsetS != c.frame.OnsetS) {
		c.known = false
		if c.fresh && c.printed.OnsetS != c.frame.OnsetS {
			if err := l.printStrings(); err != nil {
				return err
			}
		}
	}
	if err := l.tell(f); err != nil || !sounding {
		return err
	}
	strings := append(c.frame.Strings[:0], f.Strings...)
	c.frame, c.known, c.fresh = *f, true, true
	c.frame.Strings, c.frame.Bands = strings, nil
	if f.TimeS-f.OnsetS < chordSettledS || !c.changed() {
		return nil
	}
	return l.printStrings()
}

// changed reports whether the frame says something of a string that was not printed.
func (c *chordLines) changed() bool {
	now, last := &c.frame, &c.printed
	if len(last.Strings) != len(now.Strings) || now.OnsetS != last.OnsetS {
		return true
	}
	if now.TimeS-last.TimeS < chordPauseS {
		return false
	}
	for i := range now.Strings {
		a, b := &now.Strings[i], &last.Strings[i]
		certain := 3 * math.Max(a.Sigma, b.Sigma)
		if a.Verdict != b.Verdict || a.Active && math.Abs(a.Cents-b.Cents) > math.Max(changeCents, certain) {
			return true
		}
	}
	return false
}

// printStrings prints a line for each string of the held frame.
func (l *Lines) printStrings() error {
	c := &l.all
	c.fresh = false
	c.printed.OnsetS, c.printed.TimeS = c.frame.OnsetS, c.frame.TimeS
	c.printed.Strings = append(c.printed.Strings[:0], c.frame.Strings...)
	for i := range c.frame.Strings {
		row := &c.frame.Strings[i]
		r := reading{
			timeS: c.frame.TimeS, f1: row.F1Hz, sigma: row.Sigma, cents: row.Cents, beat: row.BeatHz, verdict: row.Verdict,
			target: display.Target{Label: row.Label, String: row.Number}, now: row.Now,
		}
		if row.Active {
			if err := l.write(&r); err != nil {
				return err
			}
			continue
		}
		if _, err := fmt.Fprintf(l.w, "%9.2f s  %s %28s%-44s  string %d\n", r.timeS, pad(Clean(row.Label), 6), "", row.Verdict, row.Number); err != nil {
			return err
		}
	}
	return nil
}
