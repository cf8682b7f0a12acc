package setup_test

import (
	"fmt"
	"math"

	"tunerd/internal/setup"
	"tunerd/internal/targets"
)

// A guitar whose saddle stands 1.5 mm too near the nut: each note that is asked for sounds as the lengths of its
// string say, and the fit finds how far the saddle is to be moved back.
func ExampleCheck_Fit() {
	guitar, err := targets.LoadInstrument("guitar-12edo")
	if err != nil {
		fmt.Println(err)
		return
	}
	board, err := setup.NewBoard(guitar)
	if err != nil {
		fmt.Println(err)
		return
	}
	plan, err := setup.MakePlan(board, setup.PlanOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	check := setup.NewCheck(board, plan, setup.UsualSettings)
	short := setup.Ends{SaddleMM: -1.5}
	for {
		prompt, more := check.Prompt()
		if !more {
			break
		}
		n := prompt.Note
		hz := board.Hz(n)
		if n.Fret > 0 {
			s := &board.Strings[n.String-1]
			hz *= math.Exp2(setup.Deviation(s.ScaleMM, short, s.Frets[n.Fret-1].Ratio(), 0) / 1200)
		}
		check.Offer(setup.Pluck{F1Hz: hz, SigmaCents: 0.1})
	}
	result, err := check.Fit()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range result.Strings {
		fmt.Printf("string %d: move the saddle %+.1f mm; its worst note is %.1f cents sharp now\n", s.Number, s.Move.SaddleMM, s.Now.WorstCents)
	}
	// Output:
	// string 1: move the saddle +1.5 mm; its worst note is 8.0 cents sharp now
	// string 2: move the saddle +1.5 mm; its worst note is 8.0 cents sharp now
	// string 3: move the saddle +1.5 mm; its worst note is 8.0 cents sharp now
	// string 4: move the saddle +1.5 mm; its worst note is 8.0 cents sharp now
	// string 5: move the saddle +1.5 mm; its worst note is 8.0 cents sharp now
	// string 6: move the saddle +1.5 mm; its worst note is 8.0 cents sharp now
}
