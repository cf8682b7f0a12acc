package text_test

import (
	"math"
	"os"

	"tunerd/internal/display"
	"tunerd/internal/display/text"
)

// Columns are aligned at the decimal point, and each figure has the digits that its uncertainty
// allows.
func ExampleNewNoteTable() {
	table := text.NewNoteTable(os.Stdout)
	for _, n := range []*text.Note{
		{File: "a.wav", StartS: 0.118, EndS: 3.902, F1Hz: 110.0121, F1SigmaCents: 0.021, AttackF1Hz: 110.19, Inharmonicity: 0.00012, SNRdB: 41.3,
			Target: &display.Target{Label: "A2", Hz: 110, String: 5}, Cents: 0.19, CentsSigma: 0.021, BeatHz: 0.0121, State: "in tune"},
		{File: "a.wav", StartS: 4.4, EndS: 12, F1Hz: 328.9, F1SigmaCents: 0.3, Inharmonicity: math.NaN(), SNRdB: 22,
			Target: &display.Target{Label: "E4", Hz: 329.6276, String: 1}, Cents: -3.826, CentsSigma: 0.3, BeatHz: -0.7276, State: "flat",
			Partials: []text.Partial{{Number: 1, Hz: 328.91, OffCents: 0.05, SigmaCents: 0.4, LevelDB: -31.24}}},
		{File: "録音.wav", StartS: 0.5, EndS: 1, F1Hz: 82.1, F1SigmaCents: 12, Inharmonicity: math.NaN(), SNRdB: math.NaN()},
	} {
		if err := table.WriteNote(n); err != nil {
			return
		}
	}
	if err := table.Flush(); err != nil {
		return
	}
	// Output:
	// file      start s  length s  note  string  fret  target Hz  measured Hz  cents      ±  state    beat Hz  attack Hz  inharm. B  snr dB
	// a.wav       0.118     3.784  A2         5     0    110.000      110.012  +0.19   0.02  in tune   +0.012    110.190    0.00012      41
	// a.wav       4.400     7.600  E4         1     0    329.63       328.90   -3.8    0.3   flat      -0.73                             22
	//     partial 1       328.91 Hz  off    +0.1 ± 0.4   cents   -31.2 dB
	// 録音.wav    0.500     0.500                                      82.1           12
}
