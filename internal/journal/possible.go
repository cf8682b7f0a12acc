package journal

import (
	"fmt"
	"math"
)

// What a value of an import can be. The limits are far outside of what is measured; what lies beyond
// them was written by a fault.
const (
	maxHz     = 96_000        // half of the highest sample rate that is recorded at
	maxCents  = 20 * 1200     // more octaves than from 1 Hz to maxHz
	maxTimeS  = 366 * 86400.0 // a year
	maxB      = 1.0           // a string of which partial 2 stands more than an octave too high
	maxSNRdB  = 1000.0
	maxClock  = 1e5    // ppm: a tenth
	maxNumber = 10_000 // of a string or a fret
	maxSeq    = 1e9
	maxRateHz = 2 * maxHz
)

// wanted is the error for a value that cannot be.
func wanted(name string, x any, what string, limits ...any) error {
	return fmt.Errorf("%s %v cannot be: it is %s", name, x, fmt.Sprintf(what, limits...))
}

func within(name string, x, low, high float64) error {
	if x < low || x > high || math.IsInf(x, 0) { // one that is not known is
		return wanted(name, x, "%g to %g", low, high)
	}
	return nil
}

func wholeWithin(name string, n, low, high int) error {
	if n < low || n > high {
		return wanted(name, n, "%d to %d", low, high)
	}
	return nil
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// possible is an error if number seq of a session cannot be r. A frequency of 0 is not known.
func (r *Reading) possible(seq int) error {
	if seq < 1 || seq > maxSeq {
		return wanted("seq", seq, "1 to %g", maxSeq)
	}
	err := first(
		within("t_s", r.TimeS, 0, maxTimeS),
		within("target_hz", r.TargetHz, 0, maxHz),
		within("f1_hz", r.F1Hz, 0, maxHz),
		within("f1_sigma_cents", r.SigmaCents, 0, maxCents),
		within("cents", r.Cents, -maxCents, maxCents),
		within("attack_f1_hz", r.AttackF1Hz, 0, maxHz),
		within("partial1_hz", r.Partial1Hz, 0, maxHz),
		within("inharmonicity", r.B, -maxB, maxB),
		within("snr_db", r.SNRdB, -maxSNRdB, maxSNRdB),
		within("from_s", r.FromS, 0, maxTimeS),
		within("to_s", r.ToS, 0, maxTimeS),
		wholeWithin("string", r.String, 0, maxNumber),
		wholeWithin("fret", r.Fret, 0, maxNumber),
		wholeWithin("harmonic", r.Harmonic, 0, maxNumber),
	)
	if err == nil && r.FromS > r.ToS {
		err = wanted("from_s", r.FromS, "not above to_s, %g", r.ToS)
	}
	return err
}

// possible is an error if a session cannot be as s.
func (s *Session) possible() error {
	err := first(
		wholeWithin("sample_rate_hz", s.RateHz, 0, maxRateHz),
		within("clock.ppm", s.Clock.PPM, -maxClock, maxClock),
		within("clock.sigma_ppm", s.Clock.SigmaPPM, 0, maxClock),
	)
	for i := range s.Strings {
		t := &s.Strings[i]
		err = first(err,
			wholeWithin("strings.number", t.Number, 0, maxNumber),
			within("strings.target_hz", t.TargetHz, 0, maxHz),
			within("strings.gauge_mm", t.GaugeMM, 0, maxGaugeMM),
			within("strings.linear_density_kg_m", t.LinearDensity, 0, maxLinearDensity),
		)
	}
	return err
}

// Far above the strings of any instrument.
const (
	maxGaugeMM       = 100.0
	maxLinearDensity = 100.0 // kg/m
)

// possible is an error if an event cannot be as e.
func (e *Event) possible() error {
	if e.Kind != NewStrings && e.Kind != Remark {
		return wanted("kind", fmt.Sprintf("%q", e.Kind), "%q or %q", NewStrings, Remark)
	}
	return wholeWithin("string", e.String, 0, maxNumber)
}
