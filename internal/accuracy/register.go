package accuracy

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"tunerd/internal/sound"
)

// A Register is a range of pitches in which a note is looked for, and a kind of string in it. Any
// pitch of it may sound, at 10 to 40 dB, in a window of 3.5 to 7 periods of the lowest.
type Register struct {
	Name         string
	MinHz, MaxHz float64
	Kind         string
	Shape        func(*sound.StringSpec)
}

// ranges are the registers of instruments, in Hz.
var ranges = []Register{
	{Name: "bass", MinHz: 28, MaxHz: 110},
	{Name: "guitar", MinHz: 70, MaxHz: 400},
	{Name: "violin", MinHz: 185, MaxHz: 1400},
	{Name: "piano treble", MinHz: 500, MaxHz: 4200},
}

// bodyHz is the highest frequency below which a small body or a pickup radiates little.
const bodyHz = 800

// kinds are strings that a period or octave is easily mistaken on.
var kinds = []Register{
	{Kind: "plain", Shape: func(*sound.StringSpec) {}},
	{Kind: "weak fundamental", Shape: func(s *sound.StringSpec) { s.HighPassHz = min(4*s.F1Hz, bodyHz) }},
	{Kind: "plucked in the middle", Shape: func(s *sound.StringSpec) { s.Pluck = 0.5 }},
	{Kind: "dull", Shape: func(s *sound.StringSpec) { s.RollOff = 2 }},
	{Kind: "just plucked, gliding", Shape: func(s *sound.StringSpec) { s.StartS, s.GlideCents, s.GlideTau = 0, 8, 0.2 }},
}

// registers are all kinds of string in all ranges.
func registers() []Register {
	var all []Register
	for _, r := range ranges {
		for _, k := range kinds {
			r.Kind, r.Shape = k.Kind, k.Shape
			all = append(all, r)
		}
	}
	return all
}

func (r Register) String() string {
	return fmt.Sprintf("%s, %g to %g Hz, %s", r.Name, r.MinHz, r.MaxHz, r.Kind)
}

// A RegisterResult counts the wrong readings of one register.
type RegisterResult struct {
	Register
	Trials, Read  int
	Gross, Octave int // more than 50 cents off; of these, near a whole number of octaves off
}

// runRegisters renders and reads all trials of the registers.
func (cfg Config) runRegisters(ctx context.Context) ([]RegisterResult, error) {
	trials := make([]trial, len(cfg.Registers)*cfg.Trials)
	err := parallel(ctx, len(trials), func() func(int) error {
		estimate := cfg.New()
		return func(i int) error {
			r := cfg.Registers[i/cfg.Trials]
			trials[i] = cfg.tryRegister(r, cfg.rng(r.String(), i%cfg.Trials), estimate)
			return nil
		}
	})
	if err != nil {
		return nil, err
	}
	var results []RegisterResult
	for i, r := range cfg.Registers {
		sum := sumUp(Cell{}, 1, trials[i*cfg.Trials:(i+1)*cfg.Trials])
		results = append(results, RegisterResult{Register: r, Trials: sum.Trials, Read: sum.Read, Gross: sum.Gross, Octave: sum.Octave})
	}
	return results, nil
}

func (cfg Config) tryRegister(r Register, rng *rand.Rand, estimate Estimate) trial {
	const margin = 1.03 // a pitch just at the edge of the register may be read just outside it
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	s := sound.String(math.Exp(uniform(math.Log(r.MinHz*margin), math.Log(r.MaxHz/margin))))
	s.SNRdB = uniform(10, 40)
	r.Shape(&s)
	x := make([]float64, int(uniform(3.5, 7)/r.MinHz*cfg.SampleRate))
	truth := s.Render(x, cfg.SampleRate, rng)
	return readTrial(estimate, x, cfg.SampleRate, r.MinHz, r.MaxHz, truth.F1Hz)
}
