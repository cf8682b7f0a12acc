package targets

import "math"

// MaxOddLimit bounds the work of NearestRatio.
const MaxOddLimit = 255

// NearestRatio returns the ratio nearest to an interval of that many cents among those whose
// sides have no odd factor above oddLimit once all factors of two are taken out (7/4, 8/7 and
// 14/5 are within 7), and the interval's distance from it in cents, positive when the interval
// is wider. Octaves are free: 5/2 and 5/8 count as 5/4. Of two ratios equally near the one with
// the smaller odd factors is taken. oddLimit is held within 1 to 255. A size that is not finite gives
// 1/1.
//
// The odd limit is that of H. Partch, Genesis of a Music, 2nd ed., ch. 5 (from memory).
func NearestRatio(cents float64, oddLimit int) (ratio Interval, off float64) {
	if math.IsNaN(cents) || math.Abs(cents) > maxIntervalCents {
		return Interval{}, cents
	}
	oddLimit = min(max(oddLimit, 1), MaxOddLimit)
	best := math.Inf(1)
	var bestA, bestB, bestOctaves int
	for sum := 2; sum <= 2*oddLimit; sum += 2 { // ascending sizes, so that the first of two equals stays
		for a := max(1, sum-oddLimit|1); a <= min(sum-1, oddLimit); a += 2 {
			b := sum - a
			size := 1200 * math.Log2(float64(a)/float64(b))
			octaves := math.Round((cents - size) / 1200)
			if d := math.Abs(cents - size - 1200*octaves); d < best-1e-9 {
				best, bestA, bestB, bestOctaves = d, a, b, int(octaves)
			}
		}
	}
	ratio, _ = Ratio(uint64(bestA), uint64(bestB)) // small odd sides: never refused
	ratio = ratio.Add(octave.Mul(bestOctaves))
	return ratio, cents - ratio.Cents()
}
