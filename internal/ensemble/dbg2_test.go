package ensemble

import (
	"fmt"
	"slices"
	"testing"
)

func TestFalse(t *testing.T) {
	var ratios []float64
	for _, real := range []bool{false, true} {
		for _, spread := range []float64{2, 30, 58} {
			for ci, ch := range chords {
				for seed := range uint64(40) {
					m := int(seed) % 6
					c := trial{hz: ch.hz, spread: spread, real: real, seconds: 1, snr: 40, muted: m, seed: seed, rate: 48000}
					x, s, off := c.make()
					r, _ := NewReader(Config{SampleRate: 48000, Strings: s})
					got, _ := r.Read(x)
					for i, g := range got {
						v := r.voices[i]
						if !g.Sounding {
							if i != m {
								fmt.Println("missed", real, spread, ci, seed, i)
							}
							continue
						}
						if i == m {
							fmt.Printf("false %v ±%g chord %d seed %d string %d level %.1f heard %d (%d) testable %d of %d fit %.2f ± %.2f B %.3g true %.2f\n", real, spread, ci, seed, i+1, g.LevelDB, v.heard, v.low, v.tested, v.partials, g.Cents, g.SigmaCents, g.B, off[i])
							for _, a := range r.fit.active[:0] {
								if p := r.fit.partials[a]; p.voice == i {
									fmt.Printf("    k%d %.2f c %.1f off %.2f extra %.3g heard %v\n", p.k, p.hz, 10*log10(norm(p.c)), p.off, p.extra, p.heard)
								}
							}
							continue
						}
						if v.heard <= 3 || 5*v.low < 4*v.tested {
							fmt.Printf("true %v ±%g chord %d seed %d string %d heard %d (%d) testable %d of %d: err %.2f ± %.2f\n", real, spread, ci, seed, i+1, v.heard, v.low, v.tested, v.partials, g.Cents-off[i], g.SigmaCents)
						}
						ratios = append(ratios, float64(v.low)/float64(v.tested))
					}
				}
			}
		}
	}
	slices.Sort(ratios)
	n := len(ratios)
	fmt.Println(n, ratios[0], ratios[n/1000], ratios[n/100], ratios[n/20], ratios[n/2])
}
