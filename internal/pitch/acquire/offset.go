package acquire

import (
	"math"

	"tunerd/internal/pitch/stringfit"
)

// An Offset takes out of a stream of samples the direct current that a sound card adds. It is one constant, so that no
// phase is touched, and every block of sound says something of it: little where a note is loud, whose own mean is not
// quite zero over some periods, much where it is quiet. What is taken off changes only where the blocks so far leave
// no doubt that it should be another and where it would matter, so that a card without an offset is left as it is.
type Offset struct {
	at     float64   // what is taken off
	fs     float64   // Hz
	frame  int       // samples
	known  bool      // the beginning of a stream has told it
	hann   []float64 // weights of a block
	n      int       // samples of the present block so far
	mean   float64   // of them, weighted
	square float64   // mean square of them, weighted
	rest   float64   // of the offset that is not taken off, as the blocks so far say
	weight float64   // 1/σ² of that
	odd    int       // blocks in succession that are all but an offset and contradict it
}

const (
	offsetFirstS     = 0.085  // s that tell the first of it: two periods of the lowest note
	offsetBlockS     = 0.17   // s of a block: four of them
	offsetFrameS     = 2.7e-3 // s of a frame of the first
	offsetFrameLeast = 4      // samples of it
	offsetBeforeS    = 0.015  // s of quiet before a note that tell it: a slow attack does not stand still for as long
	offsetQuiet      = 0.02   // of the rms of what sounds, up to which a frame is quiet
	offsetLeak       = 0.05   // of the rms of a block, the standard deviation of its mean: of a note that begins within it
	offsetSure       = 4.0    // standard deviations from which it is beyond doubt
	offsetMatters    = 0.2    // of the rms of a block from which it matters
	offsetFades      = 0.9    // of what the blocks so far are worth, from block to block: it drifts
	offsetOdd        = 2      // odd blocks after which it is another
)

// NewOffset returns one that has heard nothing yet, at a sample rate in Hz.
func NewOffset(fs float64) *Offset {
	return &Offset{
		fs: fs, frame: max(offsetFrameLeast, int(offsetFrameS*fs)),
		hann: stringfit.Hann(nil, int(offsetBlockS*fs)),
	}
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
	if len(x) > 0 {
		o.first(x)
	}
	o.subtract(x)
}

// Remove takes it out of x, the next samples.
func (o *Offset) Remove(x []float64) {
	o.subtract(x)
	for _, v := range x {
		h := o.hann[o.n]
		o.mean += h * v
		o.square += h * v * v
		if o.n++; o.n == len(o.hann) {
			o.learn()
		}
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

// learn takes what the block that is full says, and begins another.
func (o *Offset) learn() {
	mean, power := o.mean, max(o.square-o.mean*o.mean, Quietest)
	o.n, o.mean, o.square = 0, 0, 0
	sigma := offsetLeak * math.Sqrt(power)
	strays := math.Abs(mean - o.rest)
	switch {
	case strays <= offsetSure*math.Sqrt(sigma*sigma+1/o.weight):
		o.odd = 0
	case mean*mean < power: // a thump
		o.odd = 0
		sigma = strays
	default:
		o.odd++
		sigma = strays
	}
	o.weight *= offsetFades
	if o.odd == offsetOdd { // it has jumped
		o.odd, o.weight, sigma = 0, 0, offsetLeak*math.Sqrt(power)
	}
	w := 1 / (sigma * sigma)
	o.weight += w
	o.rest += w / o.weight * (mean - o.rest)
	o.decide(power)
}

// decide takes off what is left, where that is beyond doubt and matters beside a sound of the given power.
func (o *Offset) decide(power float64) {
	left := o.rest * o.rest
	if left*o.weight > offsetSure*offsetSure && left > offsetMatters*offsetMatters*power {
		o.at, o.rest = o.at+o.rest, 0
	}
}

// first learns from the first samples. Under a Hann window the mean of a note that sounds throughout is small, and of
// one that begins within them not large. What was before it tells better, if that is quiet and lasts.
func (o *Offset) first(x []float64) {
	hann := stringfit.Hann(nil, len(x))
	var mean, power float64
	for i, v := range x {
		mean += hann[i] * v
	}
	for _, v := range x {
		power += (v - mean) * (v - mean) / float64(len(x))
	}
	power = max(power, Quietest)
	rms := math.Sqrt(power)
	o.rest, o.weight = mean, 1/(offsetLeak*offsetLeak*power)
	if quiet, rest, ok := o.before(x, rms); ok && math.Abs(quiet-mean) < offsetMatters*rms {
		o.rest, o.weight = quiet, 1/(rest*rest)
		if math.Abs(quiet) > rest {
			o.at, o.rest = quiet, 0
		}
		return
	}
	o.decide(power)
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
	if float64(n*o.frame) < offsetBeforeS*o.fs {
		return 0, 0, false
	}
	return sum / float64(n), max(math.Sqrt(all/float64(n*o.frame)), math.Sqrt(Quietest)), true
}
