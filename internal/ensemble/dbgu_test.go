package ensemble

import (
	"fmt"
	"math"
)

func logRatio(a, b float64) float64 { return math.Log(a / b) }
func init() {
	debugFit = func(r *Reader, what string) {
		if *dbgSeed < 0 {
			return
		}
		fmt.Println(what, "active", len(r.fit.active), "clusters", len(r.fit.clusters), "white", r.fit.white)
		for i := range r.voices {
			v := &r.voices[i]
			fmt.Printf("   s%d cand %v %.3f ± %.3f B %.3g ± %.2g bend %.3f heard %d (%d) testable %d\n", i+1, v.candidate, centsPerNeper*logRatio(v.f1, v.target), v.sigma, v.b, v.sigmaB, v.bend*centsPerNeper, v.heard, v.low, v.tested)
		}
	}
}
func log10(x float64) float64 { return math.Log10(x) }
