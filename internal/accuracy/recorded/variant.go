package recorded

import (
	"bytes"
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"

	"tunerd/internal/sound"
)

// A Variant is one way in which a clip is spoilt on its way to the tracker. Levels in dB are those
// of the power of what is added, or of what is left, against the mean power of the clip's sound.
type Variant struct {
	Name    string // "" for the clip as it is
	disturb func(context.Context, Clip, Sound) (Sound, error)
}

// Clean is the clip as it is.
var Clean = Variant{}

// Variants are all ways of spoiling a clip. Some need sox, the one with speech espeak-ng as well.
// others are the clips from which another string is taken.
func Variants(others []Clip) []Variant {
	return []Variant{
		{"noise 20 dB", noise(20)},
		{"noise 10 dB", noise(10)},
		{"hum -20 dB", hum},
		{"clipped 12 dB", clip},
		{"300-3400 Hz", telephone},
		{"room 0.6 s", room},
		{"speech -15 dB", speech},
		{"other string -20 dB", otherString(others)},
		{"8 kHz", resample(8000)},
		{"96 kHz", resample(96000)},
		{"lossy", lossy},
		{"8 bit", eightBit},
		{"offset 0.3", offset},
		{"-50 dB", quieter},
	}
}

// seeded returns the randomness of a clip: the same in every run, another for every clip.
func seeded(c Clip) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(c.File()))
	return rand.New(rand.NewPCG(h.Sum64(), 1))
}

// rms of the sound between onset and end.
func rms(c Clip, s Sound) float64 {
	from := min(max(0, int(c.Onset*float64(s.Rate))), len(s.Samples))
	to := min(max(from, int(c.End*float64(s.Rate))), len(s.Samples))
	sum := 0.0
	for _, x := range s.Samples[from:to] {
		sum += x * x
	}
	return math.Sqrt(sum / float64(max(1, to-from)))
}

func peak(x []float64) float64 {
	most := 0.0
	for _, v := range x {
		most = max(most, math.Abs(v))
	}
	return most
}

// added returns s with level·x on it, x repeated as often as it takes; x is scaled to an RMS of 1 first.
func added(s Sound, x []float64, level float64) Sound {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	gain := level / math.Sqrt(sum/float64(len(x))+1e-30)
	out := make([]float64, len(s.Samples))
	for i, v := range s.Samples {
		out[i] = v + gain*x[i%len(x)]
	}
	return Sound{s.Rate, out}
}

func decibels(db float64) float64 { return math.Pow(10, db/20) }

func noise(snrDB float64) func(context.Context, Clip, Sound) (Sound, error) {
	return func(_ context.Context, c Clip, s Sound) (Sound, error) {
		rng := seeded(c)
		x := make([]float64, len(s.Samples))
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		return added(s, x, rms(c, s)*decibels(-snrDB)), nil
	}
}

// hum adds mains of 50 Hz with the odd multiples that a rectifier makes strongest.
func hum(_ context.Context, c Clip, s Sound) (Sound, error) {
	const mainsHz = 50.0
	turn := seeded(c).Float64()
	x := make([]float64, len(s.Samples))
	for i := range x {
		t := float64(i)/float64(s.Rate)*mainsHz + turn
		for _, k := range []float64{1, 2, 3, 5, 7} {
			x[i] += math.Sin(2*math.Pi*k*t) / k
		}
	}
	return added(s, x, rms(c, s)*decibels(-20)), nil
}

func clip(_ context.Context, _ Clip, s Sound) (Sound, error) {
	limit := peak(s.Samples) * decibels(-12)
	return mapped(s, func(x float64) float64 { return min(max(x, -limit), limit) }), nil
}

func mapped(s Sound, f func(float64) float64) Sound {
	out := make([]float64, len(s.Samples))
	for i, x := range s.Samples {
		out[i] = f(x)
	}
	return Sound{s.Rate, out}
}

func offset(_ context.Context, _ Clip, s Sound) (Sound, error) {
	dc := 0.3 * peak(s.Samples)
	return mapped(s, func(x float64) float64 { return x + dc }), nil
}

func quieter(_ context.Context, _ Clip, s Sound) (Sound, error) {
	gain := decibels(-50) / (peak(s.Samples) + 1e-30)
	return mapped(s, func(x float64) float64 { return gain * x }), nil
}

func eightBit(_ context.Context, _ Clip, s Sound) (Sound, error) {
	const steps = 127
	scale := steps / (peak(s.Samples) + 1e-30)
	return mapped(s, func(x float64) float64 { return math.Round(scale*x) / steps }), nil
}

// room adds diffuse reverberation that falls by 60 dB in 0.6 s and holds a quarter of the power of the
// direct sound (-6 dB).
func room(_ context.Context, c Clip, s Sound) (Sound, error) {
	return Sound{s.Rate, sound.Reverberate(s.Samples, float64(s.Rate), sound.Room{RT60: 0.6, WetDB: -6}, seeded(c))}, nil
}

// otherString adds the sound of another plucked or struck clip of the same sample rate.
func otherString(clips []Clip) func(context.Context, Clip, Sound) (Sound, error) {
	return func(ctx context.Context, c Clip, s Sound) (Sound, error) {
		rng := seeded(c)
		for range 1000 {
			o := clips[rng.IntN(len(clips))]
			if o.Class != "plucked" && o.Class != "struck" || math.Abs(cents(o.NominalHz, c.NominalHz)) < 2*wrongCents {
				continue
			}
			other, err := readSound(ctx, o.Path)
			if err != nil {
				return s, err
			}
			if other.Rate == s.Rate {
				return added(s, other.Samples, rms(c, s)*decibels(-20)), nil
			}
		}
		return s, fmt.Errorf("no other string at %d Hz in the folder", s.Rate)
	}
}

// withSox runs the sound through sox, which is given the arguments after its input and output.
func withSox(ctx context.Context, s Sound, run func(dir, in string) (out string, err error)) (Sound, error) {
	dir, err := os.MkdirTemp("", "tunerd-recorded-")
	if err != nil {
		return s, err
	}
	defer os.RemoveAll(dir)
	in := filepath.Join(dir, "in.wav")
	var wav bytes.Buffer
	if err := sound.WriteWAV(&wav, s.Samples, s.Rate, sound.Float32); err != nil {
		return s, err
	}
	if err := os.WriteFile(in, wav.Bytes(), 0o600); err != nil {
		return s, err
	}
	out, err := run(dir, in)
	if err != nil {
		return s, err
	}
	return readSound(ctx, out)
}

func sox(ctx context.Context, arguments ...string) error {
	if out, err := exec.CommandContext(ctx, "sox", append([]string{"-D"}, arguments...)...).CombinedOutput(); err != nil {
		return fmt.Errorf("sox: %w: %s", err, out)
	}
	return nil
}

func resample(rate int) func(context.Context, Clip, Sound) (Sound, error) {
	return func(ctx context.Context, _ Clip, s Sound) (Sound, error) {
		return withSox(ctx, s, func(dir, in string) (string, error) {
			out := filepath.Join(dir, "out.wav")
			return out, sox(ctx, in, "-e", "float", "-b", "32", out, "rate", "-v", strconv.Itoa(rate))
		})
	}
}

// telephone passes 300 to 3400 Hz, with the slopes of two second-order sections at either end.
func telephone(ctx context.Context, _ Clip, s Sound) (Sound, error) {
	return withSox(ctx, s, func(dir, in string) (string, error) {
		out := filepath.Join(dir, "out.wav")
		return out, sox(ctx, in, out, "highpass", "300", "highpass", "300", "lowpass", "3400", "lowpass", "3400")
	})
}

// lossy codes and decodes with Vorbis at quality 3, some 112 kbit/s of stereo.
func lossy(ctx context.Context, _ Clip, s Sound) (Sound, error) {
	return withSox(ctx, s, func(dir, in string) (string, error) {
		coded, out := filepath.Join(dir, "coded.ogg"), filepath.Join(dir, "out.wav")
		if err := sox(ctx, in, "-C", "3", coded); err != nil {
			return "", err
		}
		return out, sox(ctx, coded, "-e", "float", "-b", "32", out)
	})
}

// speech adds a voice that reads aloud.
func speech(ctx context.Context, c Clip, s Sound) (Sound, error) {
	const words = "Slacken the third string a little, then the fourth, and listen how the beats grow slower until they stand still."
	spoken, err := withSox(ctx, s, func(dir, _ string) (string, error) {
		raw, out := filepath.Join(dir, "spoken.wav"), filepath.Join(dir, "out.wav")
		if message, err := exec.CommandContext(ctx, "espeak-ng", "-w", raw, words).CombinedOutput(); err != nil {
			return "", fmt.Errorf("espeak-ng: %w: %s", err, message)
		}
		return out, sox(ctx, raw, "-e", "float", "-b", "32", out, "rate", strconv.Itoa(s.Rate))
	})
	if err != nil {
		return s, err
	}
	return added(s, spoken.Samples, rms(c, s)*decibels(-15)), nil
}
