package ensemble

import (
	"math"
	"strings"
	"testing"
)

func TestRefusesNonsense(t *testing.T) {
	good := String{Number: 1, Hz: 110}
	for _, c := range []struct {
		cfg  Config
		want string
	}{
		{Config{SampleRate: 48000}, "0 strings"},
		{Config{SampleRate: 4000, Strings: []String{good}}, "sample rate"},
		{Config{SampleRate: math.NaN(), Strings: []String{good}}, "sample rate"},
		{Config{SampleRate: 48000, Strings: []String{{Number: 3, Hz: 5}}}, "string 3"},
		{Config{SampleRate: 48000, Strings: []String{{Number: 3, Hz: math.NaN()}}}, "string 3"},
		{Config{SampleRate: 48000, Strings: []String{{Number: 2, Hz: 110, B: -1}}}, "inharmonicity"},
		{Config{SampleRate: 48000, Strings: make([]String, 65)}, "65 strings"},
	} {
		if _, err := NewReader(c.cfg); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error %v, want one with %q", c.cfg, err, c.want)
		}
	}
	r, err := NewReader(Config{SampleRate: 48000, Strings: []String{good}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Read(make([]float64, 1000)); err == nil {
		t.Error("a window of 21 ms is read")
	}
}

// TestSilence reads nothing out of silence, and nothing out of samples that are not numbers.
func TestSilence(t *testing.T) {
	r, err := NewReader(Config{SampleRate: 48000, Strings: []String{{Number: 1, Hz: 110}, {Number: 2, Hz: 220}}})
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 48000)
	broken := make([]float64, 48000)
	broken[777] = math.NaN()
	for _, samples := range [][]float64{x, broken} {
		got, err := r.Read(samples)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range got {
			if s.Sounding || s.Hidden || s.F1Hz != 0 {
				t.Errorf("%+v in silence", s)
			}
		}
	}
}

// TestScale moves all frequencies and the level: cents stay, levels follow.
func TestScale(t *testing.T) {
	c := trial{hz: chords[0].hz, spread: 20, seconds: 1, snr: 40, muted: -1, seed: 11, rate: 48000}
	x, strings, _ := c.make()
	read := func(x []float64, strings []String, rate float64) []StringReading {
		r, err := NewReader(Config{SampleRate: rate, Strings: strings})
		if err != nil {
			t.Fatal(err)
		}
		got, err := r.Read(x)
		if err != nil {
			t.Fatal(err)
		}
		return append([]StringReading(nil), got...)
	}
	want := read(x, strings, 48000)
	loud := make([]float64, len(x))
	for i, v := range x {
		loud[i] = 8 * v
	}
	for i, got := range read(loud, strings, 48000) {
		if math.Abs(got.Cents-want[i].Cents) > 1e-6 || math.Abs(got.LevelDB-want[i].LevelDB-20*math.Log10(8)) > 1e-3 {
			t.Errorf("string %d eight times as loud: %+.6f cents at %.2f dB, want %+.6f at %.2f", i+1, got.Cents, got.LevelDB, want[i].Cents, want[i].LevelDB+20*math.Log10(8))
		}
	}
	// The same samples at another rate are the same sound slower or faster.
	moved := append([]String(nil), strings...)
	for i := range moved {
		moved[i].Hz *= 44100.0 / 48000
	}
	for i, got := range read(x, moved, 44100) {
		if math.Abs(got.Cents-want[i].Cents) > 0.05 {
			t.Errorf("string %d at 44100 Hz: %+.4f cents, want %+.4f", i+1, got.Cents, want[i].Cents)
		}
	}
}
