package simulate

import "math"

// partSE returns the standard error of a part that is seen in so many.
func partSE(part float64, count int) float64 { return math.Sqrt(part * (1 - part) / float64(count)) }

// se2 returns the standard error of a difference.
func se2(a, b float64) float64 { return math.Hypot(a, b) }
