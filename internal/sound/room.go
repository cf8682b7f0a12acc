package sound

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// addInRoom adds v as heard in the room to dst, whose first sample lies start seconds after the
// pluck. The string sounds in the room from its pluck on, so the window starts with a tail in it.
func addInRoom(dst []float64, v *Voice, start float64, r Room, rng *rand.Rand) {
	tail := roomResponse(r, v.sampleRate, rng)
	before := min(max(int(start*v.sampleRate), 0), len(tail))
	dry := make([]float64, before+len(dst))
	v.Add(dry, start-float64(before)/v.sampleRate)
	wet := convolve(dry, tail)
	for i := range dst {
		dst[i] += wet[before+i]
	}
}

// Reverberate returns x, a sound at sampleRate Hz that begins in a silent room, as it is heard in room r.
// The tail after the last sample is cut off.
func Reverberate(x []float64, sampleRate float64, r Room, rng *rand.Rand) []float64 {
	return convolve(x, roomResponse(r, sampleRate, rng))
}

// roomResponse is 1 at time 0 followed by white noise under an exponential envelope.
func roomResponse(r Room, sampleRate float64, rng *rand.Rand) []float64 {
	h := make([]float64, max(int(r.RT60*sampleRate), 1))
	energy := 0.0
	for i := range h {
		h[i] = rng.NormFloat64() * math.Exp(-math.Log(1000)*float64(i)/float64(len(h)))
		energy += h[i] * h[i]
	}
	gain := math.Pow(10, r.WetDB/20) / math.Sqrt(energy)
	for i := range h {
		h[i] *= gain
	}
	h[0]++
	return h
}

// convolve returns the first len(x) samples of x convolved with h.
func convolve(x, h []float64) []float64 {
	n := 1
	for n < len(x)+len(h) {
		n *= 2
	}
	fft := fourier.NewFFT(n)
	spectrum := fft.Coefficients(nil, append(append(make([]float64, 0, n), x...), make([]float64, n-len(x))...))
	response := fft.Coefficients(nil, append(append(make([]float64, 0, n), h...), make([]float64, n-len(h))...))
	for i := range spectrum {
		spectrum[i] *= response[i] / complex(float64(n), 0)
	}
	return fft.Sequence(nil, spectrum)[:len(x)]
}
