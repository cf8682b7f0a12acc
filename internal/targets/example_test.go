package targets_test

import (
	"fmt"

	"tunerd/internal/targets"
)

// A tuning is written as a division, as a chord or list of ratios, or by name. The figures here are 1200/31,
// 1200·log2(3)/13 and 1200·log2(5/4).
func ExampleParseTuning() {
	for _, spec := range []string{"31edo", "13ed3", "4:5:6:7"} {
		t, err := targets.ParseTuning(spec)
		if err != nil {
			fmt.Println(err)
			return
		}
		_, notes := t.Period()
		fmt.Printf("%s: %d notes, the second is %.2f cents above the first\n", t, notes, t.Note(1).Interval.Cents())
	}
	_, err := targets.ParseTuning("31 notes")
	fmt.Println(err)
	// Output:
	// 31edo: 31 notes, the second is 38.71 cents above the first
	// 13ed3: 13 notes, the second is 146.30 cents above the first
	// 4:5:6:7: 4 notes, the second is 386.31 cents above the first
	// tuning "31 notes": "notes" is no interval; write a ratio like 3/2, steps like 24of41edo or 4of13ed3, or cents like 386.31c
}

// A resolver finds the target that a pitch is nearest to, and says how far it is off. The verdict needs the
// uncertainty: nothing is in tune, or out of it, that is not known so well.
func ExampleResolver() {
	guitar, err := targets.LoadInstrument("guitar-12edo")
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := targets.NewResolver(targets.ResolverConfig{Instrument: guitar})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, heard := range []struct{ hz, sigmaCents float64 }{{109.70, 0.1}, {110.01, 0.1}, {146.90, 2}} {
		m := r.Resolve(heard.hz, heard.sigmaCents)
		fmt.Printf("string %d, %s: %+.1f ± %.1f cents, %s\n", m.String, m.Label, m.Cents, heard.sigmaCents, m.Verdict)
	}
	// Output:
	// string 5, A2: -4.7 ± 0.1 cents, flat
	// string 5, A2: +0.2 ± 0.1 cents, in tune
	// string 4, D3: +0.8 ± 2.0 cents, unsure
}
