package beats

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"tunerd/internal/sound"
)

const (
	meterSeed = 7
	meterRate = 16000
)

// A duet is two strings plucked together.
type duet struct {
	lower, upper Tone
	n, m         int
	beat         float64 // of partials n and m, Hz; positive: wide
	seconds, snr float64
	real         bool // scatter about the law, glide after the pluck, second polarisation
}

// render returns the sound and the beat rate that is in it, by the truth of the synthesiser.
func (d duet) render(rng *rand.Rand) (x []float64, beat float64) {
	upper := d.upper
	upper.Hz *= (d.lower.Partial(d.n) + d.beat) / d.upper.Partial(d.m)
	x = make([]float64, int(d.seconds*meterRate))
	part := make([]float64, len(x))
	var lines [2]float64
	power := 0.0
	for i, t := range []Tone{d.lower, upper} {
		s := sound.String(t.Hz)
		s.B, s.Pluck, s.StartS = t.B, 0.11+0.06*rng.Float64(), -0.1
		s.Peak = 0.3 * math.Exp(0.3*rng.NormFloat64())
		if d.real {
			s.ScatterCents, s.GlideCents, s.GlideTau = 0.3, 8, 0.15
			s.Polarisation = sound.Polarisation{Cents: 0.4, Amplitude: 0.15, DecayFactor: 1.6}
		}
		truth := s.Render(part, meterRate, rng)
		lines[i] = truth.Freqs[[]int{d.n, d.m}[i]-1]
		for j, v := range part {
			x[j] += v
		}
		power += truth.SignalRMS * truth.SignalRMS
	}
	sigma := math.Sqrt(power * math.Pow(10, -d.snr/10))
	for i := range x {
		x[i] += sigma * rng.NormFloat64()
	}
	return x, lines[1] - lines[0]
}

// measure has a meter measure the duet; it is told the nominal pitches and no stiffness.
func (d duet) measure(t *testing.T, x []float64) (Measurement, error) {
	t.Helper()
	m, err := NewMeter(MeterConfig{
		SampleRate: meterRate, Lower: Tone{Hz: d.lower.Hz}, Upper: Tone{Hz: d.upper.Hz}, N: d.n, M: d.m,
	})
	if err != nil {
		t.Fatal(err)
	}
	m.Push(x)
	return m.Measure()
}

// A tally counts how trials went.
type tally struct {
	trials, within, known, right, failed int
	sigmas                               []float64
}

func (c *tally) add(r Measurement, err error, want float64) {
	c.trials++
	if err != nil {
		c.failed++
		return
	}
	if math.Abs(r.BeatHz-math.Abs(want)) <= 1.96*r.SigmaHz {
		c.within++
	}
	if r.Known {
		c.known++
		if r.Cents > 0 == (want > 0) {
			c.right++
		}
	}
	c.sigmas = append(c.sigmas, r.SigmaHz)
}

// Over the whole range of rates the truth lies within 1.96 σ of the measurement in 95 of 100
// trials, and on the side that is told where one is told. Lower bounds are those that a binomial
// count at 95% falls below once in a thousand; for strings with real effects, which are no sums of
// two lines, 80% are asked for.
func TestMeterCoverage(t *testing.T) {
	rates := []float64{0.05, 0.1, 0.2, 0.5, 1, 2, 4, 8, 15}
	trials := 6
	if testing.Short() {
		trials = 2
	}
	for _, real := range []bool{false, true} {
		var all tally
		for _, beat := range rates {
			var c tally
			for i := range trials {
				rng := rand.New(rand.NewPCG(meterSeed, uint64(1000*beat)+uint64(i)<<32))
				d := randomDuet(rng, beat)
				d.real = real
				x, want := d.render(rng)
				r, err := d.measure(t, x)
				c.add(r, err, want)
				all.add(r, err, want)
			}
			t.Logf("seed %d, real %v: %5.2f beats/s: within %2d, side known %2d, right %2d, failed %d of %d; median sigma %.4f Hz",
				meterSeed, real, beat, c.within, c.known, c.right, c.failed, c.trials, median(c.sigmas))
		}
		n := float64(all.trials - all.failed)
		share := 0.95 - 3.1*math.Sqrt(0.95*0.05/n)
		if real {
			share = 0.80
		}
		if got := float64(all.within) / n; got < share {
			t.Errorf("real %v: %.3f within 1.96 sigma, want %.3f", real, got, share)
		}
		if wrong := all.known - all.right; float64(wrong) > 0.02*float64(all.known)+1 {
			t.Errorf("real %v: the side is wrong %d times of %d", real, wrong, all.known)
		}
		if all.failed > all.trials/20 {
			t.Errorf("real %v: failed %d times of %d", real, all.failed, all.trials)
		}
	}
}

// randomDuet draws interval, pitch, stiffness, length and noise, so that the beats are those of
// strings no more than 40 cents off their pitch.
func randomDuet(rng *rand.Rand, beat float64) duet {
	for {
		d := anyDuet(rng, beat)
		if math.Abs(At(d.lower, d.upper, d.n, d.m).Hz()*(math.Exp2(40.0/1200)-1)) > math.Abs(beat) {
			return d
		}
	}
}

func anyDuet(rng *rand.Rand, beat float64) duet {
	intervals := [][2]int{{5, 4}, {3, 2}, {4, 3}, {6, 5}, {7, 4}, {5, 3}, {2, 1}}
	nm := intervals[rng.IntN(len(intervals))]
	lower := Tone{Hz: 80 * math.Exp2(1.5*rng.Float64()), B: 2e-4 * rng.Float64()}
	upper := Tone{Hz: lower.Hz * float64(nm[0]) / float64(nm[1]), B: 2e-4 * rng.Float64()}
	if rng.IntN(2) == 0 {
		beat = -beat
	}
	return duet{lower: lower, upper: upper, n: nm[0], m: nm[1], beat: beat, seconds: 3 + 6*rng.Float64(), snr: 15 + 25*rng.Float64()}
}

func TestMeterSaysWhatIsMissing(t *testing.T) {
	low, high := Tone{Label: "A2", Hz: 110}, Tone{Label: "E3", Hz: 165}
	for _, cfg := range []MeterConfig{
		{SampleRate: 100, Lower: low, Upper: high},
		{SampleRate: meterRate, Lower: high, Upper: low},
		{SampleRate: meterRate, Lower: low, Upper: Tone{Hz: 110 * math.Exp2(0.6/12)}},
		{SampleRate: meterRate, Lower: Tone{Hz: 4000}, Upper: Tone{Hz: 6000}},
	} {
		if _, err := NewMeter(cfg); err == nil {
			t.Errorf("%+v was accepted", cfg)
		}
	}
	m, err := NewMeter(MeterConfig{SampleRate: meterRate, Lower: low, Upper: high})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := m.Measure(); !errors.Is(err, ErrTooShort) {
		t.Errorf("nothing pushed: %v", err)
	}
	m.Push(make([]float64, 3*meterRate))
	if _, err := m.Measure(); !errors.Is(err, ErrUnheard) {
		t.Errorf("silence: %v", err)
	}
	m.Reset()
	if _, err := m.Measure(); !errors.Is(err, ErrTooShort) {
		t.Errorf("after Reset: %v", err)
	}
}

// A meter that runs along gives the same as one that has heard the last pluck only: what came
// before a pluck does not count, however the samples come.
func TestMeterStartsAnewWithAPluck(t *testing.T) {
	d := duet{lower: Tone{Hz: 110, B: 1e-4}, upper: Tone{Hz: 165, B: 8e-5}, n: 3, m: 2, beat: 1.5, seconds: 4, snr: 40}
	x, want := d.render(rand.New(rand.NewPCG(meterSeed, 1)))
	d.beat = -4
	before, _ := d.render(rand.New(rand.NewPCG(meterSeed, 2)))
	for i := range before {
		before[i] *= 0.3
	}
	m, err := NewMeter(MeterConfig{SampleRate: meterRate, Lower: Tone{Hz: 110}, Upper: Tone{Hz: 165}})
	if err != nil {
		t.Fatal(err)
	}
	for scene := append(before, x...); len(scene) > 0; {
		n := min(479, len(scene)) // an odd size, as readers may have
		m.Push(scene[:n])
		scene = scene[n:]
	}
	r, err := m.Measure()
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.BeatHz-want) > 3*r.SigmaHz || r.SigmaHz > 0.02 || !r.Known || r.Cents < 0 {
		t.Errorf("%+v, want %.4f", r, want)
	}
	if r.StartS < 4.1 || r.EndS > 8 {
		t.Errorf("looked at %.2f to %.2f s", r.StartS, r.EndS)
	}
}

// A string of which only every second or third partial is heard is not what sounds.
func TestHigherNoteIsNotTheString(t *testing.T) {
	for _, tc := range []struct {
		seen []int
		want bool
	}{{[]int{1, 2, 5}, true}, {[]int{3, 5}, true}, {[]int{2, 6}, false}, {[]int{3}, false}, {nil, false}} {
		var seen []sighting
		for _, k := range tc.seen {
			seen = append(seen, sighting{k: k})
		}
		if got := own(seen); got != tc.want {
			t.Errorf("partials %v: %v", tc.seen, got)
		}
	}
}

// Intervals 10 to 40 cents off pure, of which one or the other coincident partial is weak where the
// string was plucked near its node: what is measured is right, or said to be ambiguous with two
// rates of which one is right.
func TestMeterFarFromPure(t *testing.T) {
	trials := 60
	if testing.Short() {
		trials = 30
	}
	ambiguous, failed := 0, 0
	for i := range trials {
		rng := rand.New(rand.NewPCG(99, uint64(i)))
		nm := [][2]int{{7, 4}, {7, 4}, {7, 5}, {5, 4}, {8, 5}}[rng.IntN(5)]
		d := duet{lower: Tone{Hz: 80 * math.Exp2(1.5*rng.Float64()), B: 2e-4 * rng.Float64()}, n: nm[0], m: nm[1], real: i%2 == 0}
		d.upper = Tone{Hz: d.lower.Hz * float64(nm[0]) / float64(nm[1]), B: 2e-4 * rng.Float64()}
		cents := 10 + 30*rng.Float64()
		if rng.IntN(2) == 0 {
			cents = -cents
		}
		d.seconds, d.snr = 3+3*rng.Float64(), 15+25*rng.Float64()
		d.beat = d.lower.Partial(d.n) * (math.Exp2(cents/1200) - 1)
		x, want := d.render(rng)
		r, err := d.measure(t, x)
		if err != nil {
			failed++
			continue
		}
		off := math.Abs(r.BeatHz-math.Abs(want)) / r.SigmaHz
		if r.Ambiguous {
			ambiguous++
			off = min(off, math.Abs(r.OtherHz-math.Abs(want))/r.OtherSigmaHz)
		}
		if off > 4 || r.Known && r.Cents > 0 != (want > 0) {
			t.Errorf("trial %d: %d/%d of %.1f Hz, %+.1f cents: %.3f beats/s measured as %+v", i, d.n, d.m, d.lower.Hz, cents, want, r)
		}
	}
	t.Logf("%d of %d ambiguous, %d not measured", ambiguous, trials, failed)
	if ambiguous > trials/20 || failed > trials/20 {
		t.Errorf("%d ambiguous and %d not measured of %d", ambiguous, failed, trials)
	}
}
