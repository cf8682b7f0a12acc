package ensemble

import (
	"flag"
	"fmt"
	"testing"
)

var dbgChord = flag.Int("chord", 1, "")
var dbgSpread = flag.Float64("spread", 2, "")
var dbgSeed = flag.Int("seed", -1, "")
var dbgReal = flag.Bool("real", false, "")
var dbgKnown = flag.Bool("known", false, "")

func TestDbg(t *testing.T) {
	for seed := range uint64(20) {
		if *dbgSeed >= 0 && int(seed) != *dbgSeed {
			continue
		}
		c := trial{hz: chords[*dbgChord].hz, spread: *dbgSpread, real: *dbgReal, seconds: 1, snr: 40, muted: -1, seed: seed, knownB: *dbgKnown, rate: 48000}
		x, s, off := c.make()
		r, _ := NewReader(Config{SampleRate: 48000, Strings: s})
		got, _ := r.Read(x)
		for i, g := range got {
			v := r.voices[i]
			bad := !g.Sounding || g.Cents-off[i] > 3*g.SigmaCents || g.Cents-off[i] < -3*g.SigmaCents
			if bad || *dbgSeed >= 0 {
				fmt.Printf("seed %d string %d: true %.2f search %.2f B %.3g fit %.3f ± %.3f B %.3g±%.2g heard %d (%d) testable %d of %d scatter %.2f\n", seed, i+1, off[i],
					centsPerNeper*logRatio(v.firstF1, v.target), v.firstB, centsPerNeper*logRatio(v.f1, v.target), v.sigma, v.b, v.sigmaB, v.heard, v.low, v.tested, v.partials, r.fit.scatter)
			}
		}
		if *dbgSeed >= 0 {
			for _, a := range r.fit.active {
				p := r.fit.partials[a]
				fmt.Printf("  %8.2f s%d k%d cl%d c %.2g off %.2f var %.3g alpha %.2f heard %v\n", p.hz, p.voice+1, p.k, p.cluster, norm(p.c), p.off, p.variance, p.alpha, p.heard)
			}
		}
	}
}
