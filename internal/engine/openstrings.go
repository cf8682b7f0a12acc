package engine

import (
	"math"

	"tunerd/internal/ensemble"
	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// computedB is how well the inharmonicity is known that follows from a string's gauge and
// tension, as a part of it: not well enough to hold a string to, since core diameters are often guessed
// and B goes with their fourth power. With it, readings stay right when B is wrong by a factor of eight
// either way (TestWrongStiffness in internal/ensemble).
const computedB = 1.0

// OpenStrings returns what makes readers of all strings of an instrument, with what it tells of
// their inharmonicity.
func OpenStrings(in *targets.Instrument) NewChords {
	return func(sampleRate float64, open []targets.Target, onChord func(*ensemble.Chord)) (ChordTracker, error) {
		cfg := ensemble.TrackerConfig{Live: onChord == nil, OnChord: onChord}
		cfg.SampleRate = sampleRate
		for i, target := range open {
			s := ensemble.String{Number: i + 1, Label: target.Label, Hz: target.Hz}
			if i < len(in.Strings) {
				if b := tension.B(&in.Strings[i], target.Hz); !math.IsNaN(b) {
					s.B = b
				}
				if in.Strings[i].Inharmonicity == 0 {
					s.BPart = computedB
				}
			}
			cfg.Strings = append(cfg.Strings, s)
		}
		t, err := ensemble.NewTracker(cfg)
		if err != nil {
			return nil, err
		}
		return t, nil
	}
}
