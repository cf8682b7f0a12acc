package targets

import (
	"math"
	"testing"
)

func TestPublishedBeatRates(t *testing.T) {
	tuning := mustTuning(t, "12edo")
	for _, r := range table(t, "beat_rates.csv") {
		var hz [2]float64
		for i, label := range [2]string{r["lower"], r["upper"]} {
			step, err := tuning.Step(label)
			if err != nil {
				t.Fatal(err)
			}
			hz[i] = tuning.Note(step).Hz
		}
		n, m := r.integer(t, "partial_of_lower"), r.integer(t, "partial_of_upper")
		got := BeatRate(n, m, hz[0], hz[1])
		what := r["lower"] + "-" + r["upper"]
		near(t, what, got, r.number(t, "beats_per_s_exact"), exactDigits)
		near(t, what+" as published", got, r.number(t, "beats_per_s_published"), r.unit("beats_per_s_published")/2)
		if of, ok := BeatRateOf(mustRatio(uint64(n), uint64(m)), hz[0], hz[1]); !ok || math.Abs(of-got) > 1e-9 {
			t.Errorf("%s: BeatRateOf gives %v, %v", what, of, ok)
		}
	}
}

func TestBeatRateOfNoRatio(t *testing.T) {
	for _, text := range []string{`7of12edo`, "701.955c"} {
		if hz, ok := BeatRateOf(mustInterval(t, text), 440, 660); ok {
			t.Errorf("%s has no partials that coincide, got %v Hz", text, hz)
		}
	}
}
