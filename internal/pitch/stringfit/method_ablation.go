//go:build ablation

package stringfit

import (
	"fmt"
	"maps"
	"slices"
)

// The same as in method.go, to be changed before anything is fitted.
var (
	separateBins, separateLive = 8.0, 5.0
	briefPeriods               = 2.6

	warpedLeakage, farLeakage, closedProducts, judgesNoise = true, true, true, true

	leastBend = 0.05

	resumes       = true
	firstPartials = 12

	sharpens         = true
	firstTau, endTau = 0, glideTaus
)

// never is more than there is of anything.
const never = 1e9

// ablations are what may be left out, by name.
var ablations = map[string]func(){
	"leakage under a warp":                  func() { warpedLeakage = false },
	"leaving out far leakage":               func() { farLeakage = false },
	"products in closed form":               func() { closedProducts = false },
	"judging steps by the noise":            func() { judgesNoise = false },
	"a warp within a block":                 func() { leastBend = never },
	"resuming the last fit":                 func() { resumes = false },
	"few partials at first":                 func() { firstPartials = MaxPartials },
	"Gauss-Newton for a glide":              func() { sharpens = false },
	"a grid of time constants":              func() { firstTau, endTau = glideTaus/2, glideTaus/2+1 },
	"the separate solver":                   func() { separateBins, separateLive = never, never },
	"the overlapping solver":                func() { separateBins, separateLive = briefPeriods, briefPeriods },
	"the overlapping solver, bound instead": func() { separateBins, briefPeriods = separateLive, separateLive },
	"the bound solver":                      func() { briefPeriods = 0 },
}

// Ablations returns the names of what may be left out.
func Ablations() []string { return slices.Sorted(maps.Keys(ablations)) }

// Ablate leaves out what is named. It must be called once, before anything is fitted.
func Ablate(name string) error {
	leaveOut, ok := ablations[name]
	if !ok {
		return fmt.Errorf("nothing is named %q; there are %q", name, Ablations())
	}
	leaveOut()
	return nil
}
