package acquire

import (
	"math"

	"tunerd/internal/pitch/stringfit"
)

// An Offset takes out of a stream of samples the direct current that a sound card adds. What is taken off is
// constant, so that no phase is touched, until the sound shows that it should be another: never for less than a
// part of what sounds, so that a card without an offset is left as it is.
type Offset struct {
	at    float64 // what is taken off
	mean  float64 // of what is left, lately
	power float64 // mean square of what is left, lately
	frame int     // samples
	fs    float64
	known bool // the beginning of a stream has told it
	hann  []float64
}

const (
	offsetS      = 1.0    // s over which a mean is taken while a note sounds: 45 dB below one of 25 Hz
	offsetQuietS = 0.15   // s, the same while none does
	offsetFirstS = 0.085  // s that tell the first of it: two periods of the lowest note
	offsetFrameS = 2.7e-3 // s of a frame of these
	offsetDoubt  = 0.2    // of the rms of what sounds, that the mean of a low note over so little may be
	offsetQuiet  = 0.02   // of it, up to which a frame counts as before the note
)

// NewOffset returns one that has heard nothing yet, at a sample rate in Hz.
func NewOffset(fs float64) *Offset {
	return &Offset{fs: fs, frame: max(4, int(offsetFrameS*fs))}
}

// Waits returns how many samples must have been held to tell the first of it; 0 once that is known.
func (o *Offset) Waits() int {
	if o.known {
		return 0
	}
	return int(offsetFirstS * o.fs)
}

// Begin learns from the first samples of a stream, and takes it out of them.
func (o *Offset) Begin(x []float64) {
	o.known = true
	o.at = o.first(x)
	o.subtract(x)
}

// Remove takes it out of x, the next samples, fewer than a hundredth of a second; quiet says that no note sounds.
func (o *Offset) Remove(x []float64, quiet bool) {
	o.subtract(x)
	over := offsetS
	if quiet {
		over = offsetQuietS
	}
	part := min(1, float64(len(x))/(over*o.fs))
	var sum, square float64
	for _, v := range x {
		sum += v
		square += v * v
	}
	n := float64(len(x))
	o.mean += part * (sum/n - o.mean)
	o.power += part * (square/n - o.power)
	if o.mean*o.mean > offsetDoubt*offsetDoubt*(o.power-o.mean*o.mean) {
		o.at += o.mean
		o.power, o.mean = o.power-o.mean*o.mean, 0
	}
}

func (o *Offset) subtract(x []float64) {
	if o.at == 0 {
		return
	}
	for i := range x {
		x[i] -= o.at
	}
}

// first returns what the first samples tell. Under a Hann window the mean of a note that sounds throughout is small,
// and of one that begins within them not large. What was before it tells better, if it is quiet.
func (o *Offset) first(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	o.hann = stringfit.Hann(o.hann, len(x))
	var mean, square float64
	for i, v := range x {
		mean += o.hann[i] * v
	}
	for _, v := range x {
		square += (v - mean) * (v - mean)
	}
	rms := math.Sqrt(square / float64(len(x)))
	o.power = rms * rms
	if quiet, rest, ok := o.before(x, rms); ok && math.Abs(quiet-mean) < offsetDoubt*rms {
		if math.Abs(quiet) > rest {
			return quiet
		}
		return 0
	}
	if math.Abs(mean) > offsetDoubt*rms {
		return mean
	}
	return 0
}

// before returns the mean of the frames at the beginning of x in which there is next to nothing beside it, and the
// rms of that.
func (o *Offset) before(x []float64, rms float64) (quiet, rest float64, ok bool) {
	var sum, all float64
	n := 0
	for at := 0; at+o.frame <= len(x); at += o.frame {
		mean, square := 0.0, 0.0
		for _, v := range x[at : at+o.frame] {
			mean += v / float64(o.frame)
		}
		for _, v := range x[at : at+o.frame] {
			square += (v - mean) * (v - mean)
		}
		if square > float64(o.frame)*rms*rms*offsetQuiet*offsetQuiet || n > 0 && math.Abs(mean-sum/float64(n)) > offsetQuiet*rms {
			break
		}
		sum, all = sum+mean, all+square
		n++
	}
	if n == 0 {
		return 0, 0, false
	}
	return sum / float64(n), math.Sqrt(all / float64(n*o.frame)), true
}
