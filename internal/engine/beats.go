package engine

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"

	"tunerd/internal/beats"
	"tunerd/internal/capture"
	"tunerd/internal/display"
)

// A BeatMeter measures how two strings beat. *beats.Meter is one.
type BeatMeter interface {
	Push(samples []float64)
	Reset()
	Measure() (beats.Measurement, error)
}

// A BeatWatch is two strings whose beats a session measures besides what it does.
type BeatWatch struct {
	Meter        BeatMeter
	Lower, Upper string // what they are called

	LowerHz, UpperHz float64 // what they are tuned to
	SampleRate       float64

	since int // samples since the last measurement
}

// beatEvery is how many seconds of sound lie between two measurements.
const beatEvery = 1.0

// follow gives the meter a block, and returns a measurement now and then: an empty one if there is
// nothing to measure, or silence.
func (w *BeatWatch) follow(b capture.Block, gap, silent bool) (beat display.Beat, due bool) {
	if gap {
		w.Meter.Reset()
	}
	w.Meter.Push(b.Samples)
	w.since += len(b.Samples)
	if float64(w.since) < beatEvery*w.SampleRate {
		return beat, false
	}
	w.since = 0
	if silent {
		return beat, true
	}
	m, err := w.Meter.Measure()
	if err != nil {
		return beat, true
	}
	return DisplayBeat(&m, w.Lower, w.Upper), true
}

// DisplayBeat puts a measurement of two notes of these names into the form that is shown.
func DisplayBeat(m *beats.Measurement, lower, upper string) display.Beat {
	otherHz, otherSigma := math.NaN(), math.NaN()
	if m.Ambiguous {
		otherHz, otherSigma = m.OtherHz, m.OtherSigmaHz
	}
	return display.Beat{
		Fresh: true, Lower: lower, Upper: upper, Ratio: fmt.Sprintf("%d/%d", m.N, m.M), NearHz: m.Hz,
		BeatHz: m.BeatHz, SigmaHz: m.SigmaHz, Cents: m.Cents, CentsSigma: m.CentsSigma,
		Side: m.Side(), Turn: m.Turn(lower, upper), Method: string(m.Method),
		OtherHz: otherHz, OtherSigma: otherSigma,
		LowerCents: orUnknown(m.Lower), UpperCents: orUnknown(m.Upper),
	}
}

// orUnknown is the deviation in cents, NaN if the string is not heard apart.
func orUnknown(d beats.Deviation) float64 {
	if !d.Heard {
		return math.NaN()
	}
	return d.Cents
}

// readBlock is how many samples MeasureBeats reads at a time.
const readBlock = 4096

// MeasureBeats reads src from fromS to toS seconds, or to its end if toS is 0, and measures the beats
// of what sounds last. The StartS and EndS of the measurement count from the start of src.
func MeasureBeats(ctx context.Context, src capture.Source, meter BeatMeter, fromS, toS float64) (beats.Measurement, error) {
	rate := float64(src.SampleRate())
	first, last := int64(fromS*rate), int64(math.MaxInt64)
	if toS > 0 {
		last = int64(toS * rate)
	}
	buf := make([]float64, readBlock)
	for {
		b, err := src.Read(ctx, buf)
		if err != nil && !errors.Is(err, io.EOF) {
			return beats.Measurement{}, err
		}
		n := int64(len(b.Samples))
		meter.Push(b.Samples[min(max(first-b.Start, 0), n):min(max(last-b.Start, 0), n)])
		if err != nil || b.Start+n >= last {
			break
		}
	}
	m, err := meter.Measure()
	m.StartS, m.EndS = m.StartS+fromS, m.EndS+fromS
	return m, err
}
