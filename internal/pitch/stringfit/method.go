//go:build !ablation

package stringfit

// What a fit does to be fast, or for a last percent. go run ./internal/tools/ablation measures what each is worth: it
// builds this package with the tag ablation, where they are variables (method_ablation.go).
const (
	separateBins = 8.0 // see [model.separable]
	separateLive = 5.0 // see [model.separable]
	briefPeriods = 2.6 // periods that a window holds at most that is fitted by [joint.stepBound]

	warpedLeakage  = true // what a warp of time changes of what leaks from partial to partial is taken out
	farLeakage     = true // of partials many bins away, leakage is taken out only where it disturbs the basis
	closedProducts = true // products of two bases are sums of geometric series
	judgesNoise    = true // a step ends by what it leaves in units of the noise, not by σ alone
	leastBend      = 0.05 // rad, see [series.join]

	resumes       = true // a window that goes on from the last begins with its whole model
	firstPartials = 12   // that are enough for a live fit to find the pitch for the next, longer window

	sharpens         = true         // a time constant is found by Gauss-Newton where the residuals tell it
	firstTau, endTau = 0, glideTaus // time constants of the grid that are tried
)
