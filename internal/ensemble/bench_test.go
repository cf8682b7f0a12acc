package ensemble

import "testing"

// BenchmarkRead reads one second of six strings at 48 kHz, everything from the samples on.
func BenchmarkRead(b *testing.B) {
	for _, real := range []bool{false, true} {
		name := "strings=ideal"
		if real {
			name = "strings=real"
		}
		b.Run(name, func(b *testing.B) {
			c := trial{hz: chords[1].hz, spread: 2, real: real, seconds: 1, snr: 40, muted: -1, seed: 1, rate: 48000}
			x, s, _ := c.make()
			r, err := NewReader(Config{SampleRate: c.rate, Strings: s})
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := r.Read(x); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
