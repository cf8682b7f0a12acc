package clock

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// Of a Tone:
const (
	toneBlockS  = 0.02 // s, about: a block is parts times a whole number of periods
	parts       = 8    // of a block
	presentPart = 0.2  // of the tone's level, where the tone counts as there
	steadyPart  = 0.9  // of what two blocks in sequence have must turn alike
	wholePart   = 0.4  // of what the parts of a block have must add up in the block
	wanderTurns = 0.25 // RMS by which the phase may leave a straight line
	maxSigmaPPM = 10.0 // of a reading that is of use
	minToneS    = 5.0  // s of tone
)

// A Tone measures the frequency of one steady tone that is nearly known.
//
// Samples are multiplied by exp(−i2π·f·t), f being the nominal frequency, and summed over blocks
// of whole periods; the slope of the phase of those sums is the difference to f. The fit weighs
// each phase by the energy of its block, which for white noise comes up to the Cramér–Rao bound of
// a single tone, var(ω) ≥ 24·s²/(A²·N³) (rad/sample)² for amplitude A in noise of variance s² over
// N samples (Rife and Boorstyn, Single-tone parameter estimation from discrete-time observations,
// IEEE Trans. Inf. Theory 20, 1974); a test holds it to that.
type Tone struct {
	hz, rate float64
	part     int     // samples in a part of a block
	turn     float64 // hz/rate

	count  int64      // samples so far
	held   int        // samples of the part at hand
	sum    complex128 // of the part at hand
	image  complex128 // sum of exp(−i4π·f·t) over the block at hand
	block  toneBlock  // the one at hand
	filled int        // its parts
	blocks []toneBlock
}

// A toneBlock is a stretch of some periods of the tone.
type toneBlock struct {
	sum   complex128 // of the samples times exp(−i2π·f·t)
	parts float64    // squares of the sums over its parts, summed
	power float64    // squares of the samples, summed
}

// NewTone returns a meter for a tone of nominally hz at a nominal sample rate in Hz.
func NewTone(hz float64, rate int) (*Tone, error) {
	fs := float64(rate)
	if !(hz >= 20 && hz <= 0.4*fs) {
		return nil, fmt.Errorf("a tone of %g Hz is outside 20 to %g Hz, which a sample rate of %d Hz allows", hz, 0.4*fs, rate)
	}
	periods := math.Max(1, math.Round(toneBlockS*hz/parts))
	return &Tone{hz: hz, rate: fs, turn: hz / fs, part: int(math.Round(periods * fs / hz))}, nil
}

// Push takes the next samples.
func (t *Tone) Push(samples []float64) {
	for len(samples) > 0 {
		n := min(len(samples), t.part-t.held)
		t.add(samples[:n])
		samples = samples[n:]
		if t.held == t.part {
			t.endPart()
		}
	}
}

func (t *Tone) endPart() {
	t.block.sum += t.sum
	t.block.parts += squared(t.sum)
	t.sum, t.held = 0, 0
	if t.filled++; t.filled == parts {
		t.endBlock()
	}
}

// endBlock takes out of the sum what is left of the tone's image at −f: the samples are
// (c·exp(i2π·f·t) + conj)/2, so that sum = (L·c + image·conj(c))/2 over a block of L samples, which
// is not quite a whole number of periods. That is solved for c·L/2.
func (t *Tone) endBlock() {
	b := t.block
	leak := t.image / complex(float64(parts*t.part), 0)
	b.sum = (b.sum - leak*cmplx.Conj(b.sum)) / complex(1-squared(leak), 0)
	t.blocks = append(t.blocks, b)
	t.block, t.image, t.filled = toneBlock{}, 0, 0
}

func squared(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// add sums samples of one part.
func (t *Tone) add(samples []float64) {
	// The phase is taken anew for each call, so that no error grows.
	_, start := math.Modf(t.turn * float64(t.count))
	phasor, step := cmplx.Rect(1, -2*math.Pi*start), cmplx.Rect(1, -2*math.Pi*t.turn)
	for _, x := range samples {
		t.sum += complex(x, 0) * phasor
		t.image += phasor * phasor
		t.block.power += x * x
		phasor *= step
	}
	t.count += int64(len(samples))
	t.held += len(samples)
}

// Seconds is how much sound has come, by the card's own count.
func (t *Tone) Seconds() float64 { return float64(t.count) / t.rate }

// A Heard is a tone as it was measured.
type Heard struct {
	Hz      float64 // by the nominal sample rate
	SigmaHz float64 // standard uncertainty
	SNRdB   float64 // power of the tone over the rest of the sound, while it lasted
	Seconds float64 // that it lasted
}

// Read returns what was heard so far. It is an error if there is no tone near the nominal
// frequency, or if it is not steady or too short.
func (t *Tone) Read() (Heard, error) {
	if t.Seconds() < minToneS {
		return Heard{}, fmt.Errorf("%.2g s are too short; at least %g s of the tone are needed", t.Seconds(), minToneS)
	}
	z, turn, ok := t.steady()
	if !ok {
		return Heard{}, fmt.Errorf("no steady tone near %g Hz is heard", t.hz)
	}
	seconds := float64(len(z)*parts*t.part) / t.rate
	if seconds < minToneS {
		return Heard{}, fmt.Errorf("the tone lasts for %.2g s only; at least %g s are needed", seconds, minToneS)
	}
	fit := fitLine(phases(z, turn))
	perBlock := t.rate / float64(parts*t.part)
	if fit.RMS > wanderTurns || fit.Sigma*perBlock > maxSigmaPPM*1e-6*t.hz {
		return Heard{}, errors.New("the tone is not steady: its phase wanders or jumps, as when samples are lost, the microphone is moved or there is too much noise")
	}
	return Heard{
		Hz:      t.hz + (turn+fit.Slope)*perBlock,
		SigmaHz: fit.Sigma * perBlock,
		SNRdB:   t.snr(z),
		Seconds: seconds,
	}, nil
}

// steady returns the longest run of blocks with a steady tone in it, and by how many turns its
// phase moves from block to block; false if there is none.
func (t *Tone) steady() (run []toneBlock, turn float64, ok bool) {
	run = t.longest()
	if len(run) < 3*groups {
		return nil, 0, false
	}
	correlation, energy, inParts := complex(0, 0), 0.0, 0.0
	for i, b := range run {
		energy += squared(b.sum)
		inParts += b.parts
		if i > 0 {
			correlation += b.sum * cmplx.Conj(run[i-1].sum)
		}
	}
	// In a block that is all tone the parts add up to parts times their sum of squares; a strong
	// sound elsewhere leaks into the parts, and less into the whole.
	ok = energy > 0 && cmplx.Abs(correlation) >= steadyPart*energy && energy >= wholePart*parts*inParts
	return run, cmplx.Phase(correlation) / (2 * math.Pi), ok
}

// longest returns the longest run of blocks in which something like the tone is there.
func (t *Tone) longest() []toneBlock {
	if len(t.blocks) == 0 {
		return nil
	}
	levels := make([]float64, len(t.blocks))
	for i, b := range t.blocks {
		levels[i] = cmplx.Abs(b.sum)
	}
	least := presentPart * quantile(levels, 0.95)
	start, from, to := 0, 0, 0
	for i := 0; i <= len(levels); i++ {
		if i < len(levels) && levels[i] >= least {
			continue
		}
		if i-start > to-from {
			from, to = start, i
		}
		start = i + 1
	}
	return t.blocks[from:to]
}

// phases unwraps the phases of blocks, less turn from each to the next: their numbers, their
// phases in turns, and their weights.
func phases(run []toneBlock, turn float64) (x, y, w []float64) {
	x, y, w = make([]float64, len(run)), make([]float64, len(run)), make([]float64, len(run))
	last := 0.0
	for i, b := range run {
		turns := cmplx.Phase(b.sum)/(2*math.Pi) - turn*float64(i)
		last = turns - math.Round(turns-last)
		x[i], y[i], w[i] = float64(i), last, squared(b.sum)
	}
	return x, y, w
}

// snr is the power of the tone over that of the rest, in dB. A block that is all tone, of amplitude
// A, has the sum A·L/2 and the power A²·L/2.
func (t *Tone) snr(run []toneBlock) float64 {
	tone, all := 0.0, 0.0
	for _, b := range run {
		tone += 2 * squared(b.sum) / float64(parts*t.part)
		all += b.power
	}
	return 10 * math.Log10(tone/math.Max(all-tone, 1e-12*tone))
}
