package detune_test

import (
	"fmt"

	"tunerd/internal/detune"
	"tunerd/internal/targets"
)

// The open G of a guitar is to be the natural seventh of A in a chord whose other notes are pure, too. 7/4 is
// 968.83 cents, 31.17 less than ten steps of twelve; 3/2 is 701.96.
func ExampleSolve() {
	guitar, err := targets.LoadInstrument("guitar-12edo")
	if err != nil {
		fmt.Println(err)
		return
	}
	chord, err := detune.ParseChord(guitar, "A7: x02020 as 4:6:7:10:12")
	if err != nil {
		fmt.Println(err)
		return
	}
	plan, err := detune.Solve(detune.Problem{Instrument: guitar, Chords: []detune.Chord{chord}, Anchor: 5})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, s := range guitar.Strings {
		fmt.Printf("string %d, %s: %+.2f cents\n", i+1, s.Open.Label, plan.Cents[i])
	}
	// Output:
	// string 1, E4: +1.96 cents
	// string 2, B3: -13.69 cents
	// string 3, G3: -31.17 cents
	// string 4, D3: +1.96 cents
	// string 5, A2: +0.00 cents
	// string 6, E2: +0.00 cents
}
