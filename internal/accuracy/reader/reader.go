// Package reader hands the window estimator and the live tracker of internal/pitch to package accuracy, which knows
// neither.
package reader

import (
	"math"

	"tunerd/internal/accuracy"
	"tunerd/internal/pitch"
)

// SampleRate is the sample rate (Hz) that both are measured at.
const SampleRate = 48000

// NewEstimate makes a window estimator for one worker.
func NewEstimate() accuracy.Estimate {
	estimator, err := pitch.NewWindowEstimator(SampleRate)
	if err != nil {
		panic(err) // the sample rate is a constant of this file
	}
	return func(x []float64, _, minHz, maxHz float64) (float64, float64, bool) {
		r, ok := estimator.Estimate(x, minHz, maxHz)
		return r.F1Hz, r.SigmaCents, ok
	}
}

// blockLen is how many samples an input hands over at a time.
const blockLen = 256

// NewListen makes a live reader for one worker. It knows one string, the one that is plucked.
func NewListen() accuracy.Listen {
	return func(x []float64, rate, targetHz float64, hear func(accuracy.Moment)) {
		tracker, err := pitch.NewTracker(pitch.Config{SampleRate: rate, Live: true})
		if err != nil {
			panic(err) // the sample rate is a constant of this file
		}
		tracker.Expect(targetHz/math.Sqrt2, []float64{targetHz})
		for at := 0; at < len(x); at += blockLen {
			tracker.Push(x[at:min(at+blockLen, len(x))], int64(at), func(r *pitch.Reading) {
				hear(accuracy.Moment{At: r.At, F1Hz: r.F1Hz, SigmaCents: r.SigmaCents, Sounding: r.State == pitch.Sounding})
			})
		}
	}
}
