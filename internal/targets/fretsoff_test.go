package targets

import (
	"math"
	"testing"
)

// Frets of twelve equal steps play twelve equal steps. On 53 equal steps of 1200/53 = 22.64 cents they lie up to half
// a step off: the nearest to 100·k cents is off by |100·k − 22.64·round(100·k/22.64)|, at most 11.32 (k = 6: 600 is 26.5 steps).
func TestFretsOff(t *testing.T) {
	in, err := LoadInstrument("guitar-12edo")
	if err != nil {
		t.Fatal(err)
	}
	if off := in.FretsOff(); !(off < 1e-6) {
		t.Errorf("12edo frets are %g cents off 12edo", off)
	}
	tuning, err := ParseTuning("53edo")
	if err != nil {
		t.Fatal(err)
	}
	if in, err = in.With(tuning, nil); err != nil {
		t.Fatal(err)
	}
	if off := in.FretsOff(); math.Abs(off-600.0/53) > 0.01 {
		t.Errorf("12edo frets are %g cents off 53edo, want %g", off, 600.0/53)
	}
	lap, err := LoadInstrument("violin")
	if err != nil {
		t.Fatal(err)
	}
	if off := lap.FretsOff(); !math.IsNaN(off) {
		t.Errorf("a violin's frets are %g cents off", off)
	}
}
