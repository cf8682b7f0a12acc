package accuracy

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/sound"
)

// stubborn says at every hop that the target sounds, with a σ of 15 cents.
func stubborn(x []float64, _, targetHz float64, hear func(Moment)) {
	for at := 480; at <= len(x); at += 480 {
		hear(Moment{At: int64(at), F1Hz: targetHz, SigmaCents: 15 / 1.96, Sounding: true})
	}
}

func runPlucks(t *testing.T, trials int, listen Listen, plucks ...Pluck) []PluckResult {
	t.Helper()
	rep, err := Run(t.Context(), Config{Seed: runSeed, Trials: trials, Plucks: plucks, New: func() Estimate { return nil },
		NewListen: func() Listen { return listen }})
	if err != nil {
		t.Fatal(err)
	}
	return rep.Plucks
}

// Strings are spread evenly over ±30 cents about the target, so that who always reads the target is
// off by 30/√3 cents RMS, within 30 from the first hop on, and within ±15 half of the time.
func TestPlucksOfAKnownError(t *testing.T) {
	const trials = 400
	r := runPlucks(t, trials, stubborn, Pluck{Note: Note{"A4", 440}, SNRdB: 40})[0]
	s := r.At(0.3)
	if math.Abs(s.RMSE-30/math.Sqrt(3)) > 1.2 || math.Abs(s.Coverage()-0.5) > 0.075 || s.Read != trials || s.MedianSigma != 15/1.96 {
		t.Errorf("seed %d: %+v, want an error of 17.3 RMS and half of it covered", runSeed, s)
	}
	if math.Abs(s.P95-28.5) > 1 {
		t.Errorf("seed %d: 95 in 100 within %.2f cents, want 28.5", runSeed, s.P95)
	}
	// Hops of 10 ms, of which the pluck lies anywhere in one.
	if first := r.First(1); !(first > 0.009 && first <= 0.0101) {
		t.Errorf("last first reading %g s after the pluck, want just under 10 ms", first)
	}
	if at := r.First(0.5); math.Abs(at-0.005) > 0.001 {
		t.Errorf("median first reading %g s after the pluck, want 5 ms", at)
	}
	if within := r.Within(30.001, 0.95); within != 0 {
		t.Errorf("within 30 cents from %g s on, want 0", within)
	}
	if within := r.Within(1, 0.95); !math.IsInf(within, 1) {
		t.Errorf("within a cent from %g s on, want never", within)
	}
}

// A reader that gives no pitch for some time is judged from when it does.
func TestPlucksCountOnlyReadings(t *testing.T) {
	late := func(x []float64, rate, targetHz float64, hear func(Moment)) {
		stubborn(x, rate, targetHz, func(m Moment) {
			m.Sounding = float64(m.At)/rate > quietS+hopS+0.2
			hear(m)
		})
	}
	r := runPlucks(t, 50, late, Pluck{Note: Note{"A4", 440}, SNRdB: 40})[0]
	if s := r.At(0.1); s.Read != 0 {
		t.Errorf("%d readings before the first", s.Read)
	}
	if within := r.Within(30.001, 1); !(within > 0.2 && within < 0.27) {
		t.Errorf("within 30 cents from %g s on, want after 200 to 260 ms", within)
	}
}

// The noise is that of the stated SNR, before the pluck and after it, and the burst sounds only at it.
func TestPlucksAreWhatTheySay(t *testing.T) {
	power := func(x []float64) float64 {
		sum := 0.0
		for _, v := range x {
			sum += v * v
		}
		return sum / float64(len(x))
	}
	for _, p := range []Pluck{{Note: Note{"E2", 82.407}, SNRdB: 20}, {Note: Note{"E2", 82.407}, SNRdB: 20, Attack: true}} {
		runPlucks(t, 5, func(x []float64, rate, _ float64, _ func(Moment)) {
			quiet := power(x[:int(quietS*rate)])
			loud := power(x[int((quietS+hopS+0.05)*rate):int((quietS+0.25)*rate)])
			// The string falls by a decibel over the span by which the pluck may move.
			if got := 10 * math.Log10(loud/quiet-1); math.Abs(got-20) > 1 {
				t.Errorf("%v, seed %d: SNR %.1f dB", p, runSeed, got)
			}
		}, p)
	}
}

func TestFailuresOfPlucks(t *testing.T) {
	pluck := func(p Pluck, firstS, cents float64) PluckResult {
		r := PluckResult{Pluck: p, BoundCents: make([]float64, len(GlideAges))}
		for range 100 {
			r.tracks = append(r.tracks, track{{age: firstS, cents: cents, sigma: 1}})
		}
		return r
	}
	e2 := Note{"E2", 82.407}
	for _, tc := range []struct {
		r    PluckResult
		want []string
	}{
		{pluck(Pluck{Note: e2, SNRdB: 40}, 0.029, 0.05), nil},
		{pluck(Pluck{Note: e2, SNRdB: 40}, 0.031, 0.05), []string{"within 1 cent"}},
		{pluck(Pluck{Note: e2, SNRdB: 40, Attack: true}, 0.049, 0.5), nil},
		{pluck(Pluck{Note: e2, SNRdB: 40}, 0.029, 0.5), []string{"within 0.1 cent"}},
		{pluck(Pluck{Note: e2, SNRdB: 20}, 0.029, 0.5), nil},
		{pluck(Pluck{Note: e2, SNRdB: 20}, 0.05, 2), []string{"first reading", "within 1 cent"}},
		{pluck(Pluck{Note: e2, SNRdB: 40, Glide: true}, 0.029, 0.02), nil},
		{pluck(Pluck{Note: e2, SNRdB: 40, Glide: true}, 0.029, 0.09), []string{"settled pitch at 400 ms"}},
	} {
		rep := Report{Plucks: []PluckResult{tc.r}}
		fails := rep.Failures(DefaultGoals())
		if len(fails) != len(tc.want) {
			t.Errorf("%v: %v, want %d", tc.r.Pluck, fails, len(tc.want))
			continue
		}
		for i, want := range tc.want {
			if !strings.HasPrefix(fails[i].What, want) {
				t.Errorf("%v: %v, want %s", tc.r.Pluck, fails[i], want)
			}
		}
	}
}

// The settled pitch of a gliding string cannot be known better than a steady string's, the less so
// the slower it falls; and long after, as well.
func TestGlideBound(t *testing.T) {
	bound := func(windowS, tau float64) float64 {
		m, sigma := tableString(82.407, windowS)
		if tau > 0 {
			m.Glide = Glide{Cents: 5, Tau: tau, Age: windowS / 2}
		}
		b, err := StringBound(m, int(windowS*48000), 48000, sigma/100, Assumed{})
		if err != nil {
			t.Fatal(err)
		}
		return b.F1Cents
	}
	if steady, fast, slow := bound(0.3, 0), bound(0.3, 0.1), bound(0.3, 0.3); !(steady < fast && fast < slow) {
		t.Errorf("bounds of a steady string, a fast and a slow glide: %.3g, %.3g, %.3g cents, want them to grow", steady, fast, slow)
	}
	if steady, settled := bound(1, 0), bound(1, 0.01); settled > 1.5*steady {
		t.Errorf("a glide of 10 ms costs the bound over a second %.3g against %.3g cents", settled, steady)
	}
}

// The derivatives of the glide's clock against those of the clock that sound renders with, by
// differences: 1e-3 cents are few enough for the first order in them to hold.
func TestGlideClock(t *testing.T) {
	const depth, age = 1e-3, 0.1
	clock := func(cents, tau, t float64) float64 {
		// Phase of the pitch after the pluck, by the midpoint rule on the pitch that sound tells.
		const steps = 20000
		s := sound.StringSpec{F1Hz: 1, GlideCents: cents, GlideTau: tau}
		sum := 0.0
		for i := range steps {
			sum += math.Exp2(s.CentsAt(t*(float64(i)+0.5)/steps) / 1200)
		}
		return sum * t / steps
	}
	for _, tau := range []float64{0.05, 0.2} {
		g := Glide{Cents: depth, Tau: tau, Age: age}
		for _, at := range []float64{0, 0.1, 0.5} {
			byDepth := (clock(2*depth, tau, at+age) - clock(0, tau, at+age)) / (2 * depth)
			byTau := (clock(depth, 1.01*tau, at+age) - clock(depth, 0.99*tau, at+age)) / (0.02 * tau)
			if got := g.byDepth(at); math.Abs(got/byDepth-1) > 1e-3 {
				t.Errorf("τ %g, %g s: by depth %g, by differences %g", tau, at, got, byDepth)
			}
			if got := g.byTau(at); math.Abs(got/byTau-1) > 1e-3 {
				t.Errorf("τ %g, %g s: by τ %g, by differences %g", tau, at, got, byTau)
			}
		}
	}
}
