package pitch_test

import (
	"fmt"
	"math/rand/v2"

	"tunerd/internal/pitch"
	"tunerd/internal/sound"
)

// A guitar's A string, plucked half a second into a stream that comes in blocks of any size.
func ExampleTracker() {
	const rate = 48000
	x := make([]float64, 2*rate)
	spec := sound.String(110.2)
	spec.StartS, spec.SNRdB = -0.5, 50
	spec.Render(x, rate, rand.New(rand.NewPCG(1, 1)))

	first := true
	tracker, err := pitch.NewTracker(pitch.Config{
		SampleRate: rate,
		Live:       true,
		OnNote:     func(n *pitch.Note) { fmt.Printf("the note: %.2f Hz\n", n.F1Hz) },
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for at := 0; at < len(x); at += 512 {
		tracker.Push(x[at:min(at+512, len(x))], int64(at), func(r *pitch.Reading) {
			if r.State == pitch.Sounding && first {
				fmt.Printf("the first reading: %.0f Hz\n", r.F1Hz)
				first = false
			}
		})
	}
	tracker.Flush() // the input ends, and with it the note
	// Output:
	// the first reading: 110 Hz
	// the note: 110.20 Hz
}

// A Reading says what its uncertainty is made of.
func ExampleWindowEstimator() {
	const rate = 48000
	x := make([]float64, rate/2)
	spec := sound.String(196)
	spec.SNRdB = 40
	spec.Render(x, rate, rand.New(rand.NewPCG(1, 2)))
	e, err := pitch.NewWindowEstimator(rate)
	if err != nil {
		fmt.Println(err)
		return
	}
	r, ok := e.Estimate(x, 80, 1000)
	fmt.Printf("%v %.2f Hz, σ below a hundredth of a cent: %v\n", ok, r.F1Hz, r.Variance.SigmaCents() < 0.01)
	// Output: true 196.00 Hz, σ below a hundredth of a cent: true
}
