package accuracy

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"tunerd/internal/sound"
	"tunerd/internal/stiffstring"
)

// A Listen gives x to a live reader, piece by piece as an input would, and calls hear with every
// reading. The reader has been told that a string near targetHz will be plucked. One is used by one
// goroutine at a time.
type Listen func(x []float64, sampleRate, targetHz float64, hear func(Moment))

// A Moment is what a live reader says at one instant.
type Moment struct {
	At               int64 // samples heard so far
	F1Hz, SigmaCents float64
	Sounding         bool // a pitch is given
}

// A Pluck is one kind of pluck that a live reader hears, of which many are rendered. The string is
// up to 30 cents off its target, and white noise sounds before it and with it.
type Pluck struct {
	Note
	SNRdB  float64 // of the string from 50 to 250 ms after the pluck
	Attack bool    // a burst of noise sounds with the pluck, as loud as the string, gone as exp(−t/5 ms)
	Glide  bool    // the pitch falls by 1 to 8 cents with a time constant of 0.1 to 0.3 s
}

// What a live reader hears of a pluck.
const (
	untuned  = 30.0 // cents, furthest from the target
	quietS   = 0.5  // of noise before the pluck, and up to hopS more
	hopS     = 0.05 // more than any hop, so that plucks lie anywhere in one
	pluckedS = 1.0  // after the pluck

	shortestTau, longestTau = 0.1, 0.3 // s, of a glide
	instantS                = 1e-3     // raster on which readings are judged
)

// GlideAges are the times in s after the pluck at which the settled pitch of a gliding string is
// judged.
var GlideAges = []float64{0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.6, 1}

// A PluckResult is what was read of all trials of a pluck.
type PluckResult struct {
	Pluck
	// BoundCents is the bound of the settled pitch of a gliding string at each of GlideAges, RMS over
	// the time constants: of all sound since the pluck, with B, decays, depth and time constant of
	// the glide unknown.
	BoundCents []float64
	tracks     []track
}

// A track is what was read of one pluck, in order.
type track []instant

// An instant is one reading; cents is NaN where none was given.
type instant struct{ age, cents, sigma float64 }

// runPlucks renders all trials of the plucks and lets a live reader hear them.
func (cfg Config) runPlucks(ctx context.Context) ([]PluckResult, error) {
	tracks := make([]track, len(cfg.Plucks)*cfg.Trials)
	err := parallel(ctx, len(tracks), func() func(int) error {
		listen := cfg.NewListen()
		x := make([]float64, int((quietS+hopS+pluckedS)*cfg.SampleRate))
		return func(i int) error {
			p := cfg.Plucks[i/cfg.Trials]
			tracks[i] = cfg.hear(p, cfg.rng(p.String(), i%cfg.Trials), listen, x)
			return nil
		}
	})
	if err != nil {
		return nil, err
	}
	results := make([]PluckResult, len(cfg.Plucks))
	for i, p := range cfg.Plucks {
		results[i] = PluckResult{Pluck: p, tracks: tracks[i*cfg.Trials : (i+1)*cfg.Trials]}
	}
	return results, parallel(ctx, len(results), func() func(int) error {
		return func(i int) (err error) {
			results[i].BoundCents, err = cfg.glideBounds(cfg.Plucks[i])
			return err
		}
	})
}

func (p Pluck) String() string {
	s := fmt.Sprintf("%s %g dB", p.Name, p.SNRdB)
	if p.Attack {
		s += ", attack noise"
	}
	if p.Glide {
		s += ", glide"
	}
	return s
}

// hear renders one trial into x and keeps what is read of it.
func (cfg Config) hear(p Pluck, rng *rand.Rand, listen Listen, x []float64) track {
	s := sound.String(p.Hz * math.Exp2(untuned*(2*rng.Float64()-1)/1200))
	if p.Attack {
		s.Attack = sound.Attack{LevelDB: 0, Decay: 0.005}
	}
	if p.Glide {
		s.GlideCents, s.GlideTau = 1+7*rng.Float64(), shortestTau+(longestTau-shortestTau)*rng.Float64()
	}
	at := quietS + hopS*rng.Float64()
	p.render(x, s, at, cfg.SampleRate, rng)
	var heard track
	listen(x, cfg.SampleRate, p.Hz, func(m Moment) {
		i := instant{age: float64(m.At)/cfg.SampleRate - at, cents: math.NaN()}
		if m.Sounding {
			i.cents, i.sigma = stiffstring.Cents(m.F1Hz, s.F1Hz), m.SigmaCents
		}
		heard = append(heard, i)
	})
	return heard
}

// render fills x with noise and the string s, plucked at seconds after its start.
func (p Pluck) render(x []float64, s sound.StringSpec, at, sampleRate float64, rng *rand.Rand) {
	clear(x)
	s.Voice(sampleRate, rng).Add(x, -at)
	power := 0.0
	steady := x[int((at+0.05)*sampleRate):int((at+0.25)*sampleRate)]
	for _, v := range steady {
		power += v * v / float64(len(steady))
	}
	sigma := math.Sqrt(power) * math.Pow(10, -p.SNRdB/20)
	for i := range x {
		x[i] = (x[i] + sigma*rng.NormFloat64()) * 0.1 // far from full scale
	}
}

// glideBounds returns PluckResult.BoundCents; nil if the string does not glide.
func (cfg Config) glideBounds(p Pluck) ([]float64, error) {
	if !p.Glide {
		return nil, nil
	}
	s := sound.String(p.Hz)
	s.SNRdB = p.SNRdB
	steady := make([]float64, int(0.2*cfg.SampleRate)) // from 50 ms on, as render measures the noise
	truth := s.Render(steady, cfg.SampleRate, cfg.rng("glide bound of "+p.String(), 0))
	var bounds []float64
	for _, age := range GlideAges {
		const taus = 8
		squares := 0.0
		for i := range taus {
			tau := shortestTau + (longestTau-shortestTau)*(float64(i)+0.5)/taus
			b, err := cfg.stringBound(gliding(truth, tau, age), int(math.Round(age*cfg.SampleRate)), truth.NoiseSigma)
			if err != nil {
				return nil, fmt.Errorf("%v: %w", p, err)
			}
			squares += b * b / taus
		}
		bounds = append(bounds, math.Sqrt(squares))
	}
	return bounds, nil
}

// gliding is the string of truth, whose amplitudes are those 150 ms after the pluck, gliding, as seen
// from the middle of a window from the pluck to age. How deep the glide is does not matter to the
// bound.
func gliding(truth sound.Truth, tau, age float64) StringModel {
	m := StringModel{F1Hz: truth.F1Hz, B: truth.B, Decays: truth.Decays, Phases: truth.Phases,
		Glide: Glide{Cents: 1, Tau: tau, Age: age / 2}}
	for k, amp := range truth.Amps {
		m.Amps = append(m.Amps, amp*math.Exp(truth.Decays[k]*(0.15-age/2)))
	}
	return m
}

// at returns the reading that is shown at age, in s after the pluck.
func (t track) at(age float64) instant {
	n, _ := slices.BinarySearchFunc(t, age, func(i instant, age float64) int {
		if i.age <= age {
			return -1
		}
		return 1
	})
	if n == 0 {
		return instant{age: age, cents: math.NaN()}
	}
	return t[n-1]
}

// Trials is how many plucks were heard.
func (r PluckResult) Trials() int { return len(r.tracks) }

// First returns the time in s from the pluck until share of the trials have had a reading; +Inf if
// they never have.
func (r PluckResult) First(share float64) float64 {
	var firsts []float64
	for _, t := range r.tracks {
		i := slices.IndexFunc(t, func(i instant) bool { return i.age >= 0 && !math.IsNaN(i.cents) })
		if i < 0 {
			firsts = append(firsts, math.Inf(1))
			continue
		}
		firsts = append(firsts, t[i].age)
	}
	return quantile(firsts, share)
}

// Within returns the time in s from the pluck from which share of the readings shown are, and at
// every later instant still are, no more than limit cents off; +Inf if that never comes. An instant
// without a reading counts as off.
func (r PluckResult) Within(limit, share float64) float64 {
	since := math.Inf(1)
	for n := int(pluckedS / instantS); n >= 0; n-- {
		age := float64(n) * instantS
		near := 0
		for _, t := range r.tracks {
			if math.Abs(t.at(age).cents) <= limit {
				near++
			}
		}
		if float64(near) < share*float64(len(r.tracks)) {
			break
		}
		since = age
	}
	return since
}

// A Snapshot sums up the readings that are shown at one time after the pluck, against the settled
// pitch.
type Snapshot struct {
	AgeS        float64
	Read        int     // trials that show a reading
	RMSE, P95   float64 // cents; 95 in 100 errors are smaller than P95
	MedianSigma float64 // cents
	Covered     int     // truth within ±1.96σ
}

// Coverage is the part of the readings whose ±1.96σ holds the settled pitch.
func (s Snapshot) Coverage() float64 { return float64(s.Covered) / float64(s.Read) }

// At sums up what is shown ageS after the pluck.
func (r PluckResult) At(ageS float64) Snapshot {
	s := Snapshot{AgeS: ageS}
	var errors, sigmas []float64
	squares := 0.0
	for _, t := range r.tracks {
		i := t.at(ageS)
		if math.IsNaN(i.cents) {
			continue
		}
		s.Read++
		if math.Abs(i.cents) <= 1.96*i.sigma {
			s.Covered++
		}
		squares += i.cents * i.cents
		errors, sigmas = append(errors, math.Abs(i.cents)), append(sigmas, i.sigma)
	}
	s.RMSE = math.Sqrt(squares / float64(s.Read))
	s.P95, s.MedianSigma = quantile(errors, 0.95), median(sigmas)
	return s
}

// quantile sorts x and returns the smallest of its values that share of them do not exceed; NaN if
// it is empty.
func quantile(x []float64, share float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	return x[min(max(int(math.Ceil(share*float64(len(x))))-1, 0), len(x)-1)]
}
