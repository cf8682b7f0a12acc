package coupling

import (
	"fmt"
	"math"

	"tunerd/internal/targets"
	"tunerd/internal/tension"
)

// UsualBehindMM is what a string measures behind nut and bridge, both together, where nobody has measured it:
// an estimate. It enters the stiffness of a string, and of that only what readings cannot tell.
const UsualBehindMM = 120

// unknownLimitCents is how far above its target a string may be pulled at any time if what breaks it is not
// known: 8 % of tension, an estimate on the careful side.
const unknownLimitCents = 66

// OfInstrument returns what is believed of an instrument whose strings measure behindMM behind nut and bridge,
// and the numbers, from 1, of the strings whose stiffness is an estimate.
func OfInstrument(in *targets.Instrument, support Support, behindMM float64) (p *Prior, estimated []int, err error) {
	if !(behindMM >= 0 && behindMM <= 2000) {
		return nil, nil, fmt.Errorf("a string measures 0 to 2000 mm behind nut and bridge, not %g", behindMM)
	}
	strs := make([]String, len(in.Strings))
	for i := range in.Strings {
		s := &in.Strings[i]
		load := tension.Of(s, s.Open.Hz)
		ea, rough := tension.AxialStiffness(s)
		if math.IsNaN(load.TensionN) || math.IsNaN(ea) {
			return nil, nil, fmt.Errorf("string %d of %s: coupling needs its scale_length_mm, gauge_mm and material, and linear_density_kg_m if it is wound", i+1, in.Name)
		}
		if rough {
			estimated = append(estimated, i+1)
		}
		limit := load.CentsToPart(tension.Limit)
		if math.IsInf(limit, 1) {
			limit = unknownLimitCents
		}
		strs[i] = String{
			EA: ea, LengthMM: s.ScaleLengthMM + behindMM, SoundingMM: s.ScaleLengthMM,
			TensionN: load.TensionN, LimitCents: max(limit, 0), Place: float64(in.CourseOf(i + 1)),
		}
	}
	p, err = NewPrior(support, strs)
	return p, estimated, err
}
