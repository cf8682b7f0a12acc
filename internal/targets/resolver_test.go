package targets

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func mustResolver(t testing.TB, cfg ResolverConfig) *Resolver {
	t.Helper()
	r, err := NewResolver(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// atCents returns the frequency so many cents above hz.
func atCents(hz, cents float64) float64 { return hz * math.Exp2(cents/1200) }

func TestResolveDefault(t *testing.T) {
	r := mustResolver(t, ResolverConfig{})
	for _, c := range []struct {
		hz      float64
		label   string
		step    int
		cents   float64
		beat    float64
		verdict string
	}{
		{440, "A4", 0, 0, 0, InTune},
		{441, "A4", 0, 3.9302, 1, Sharp}, // 1200·log2(441/440) by hand
		{110, "A2", -24, 0, 0, InTune},
		{109.9, "A2", -24, -1.5746, -0.1, Flat},
		{atCents(261.625565, 0.49), "C4", -9, 0.49, 0.07406, InTune},
		{atCents(261.625565, -0.51), "C4", -9, -0.51, -0.07706, Flat},
		{8.1758, "C-1", -69, 0, 0, InTune}, // lowest key of the MIDI tuning table
		{5, "C-1", -69, -851.3176, -3.175799, Flat},
		{20000, "G9", 58, 807.6232, 7456.1460, Sharp},
	} {
		r.Reset()
		m := r.Resolve(c.hz, 0.1)
		if m.Label != c.label || m.Step != c.step || m.Verdict != c.verdict || m.String != 0 || m.Fret != 0 {
			t.Errorf("%v Hz: %+v, want %+v", c.hz, m, c)
		}
		near(t, c.label+" cents", m.Cents, c.cents, 1e-3)
		near(t, c.label+" beat", m.BeatHz, c.beat, 1e-4)
	}
}

func TestResolveNoFrequency(t *testing.T) {
	r := mustResolver(t, ResolverConfig{})
	r.Resolve(440, 0)
	for _, hz := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if m := r.Resolve(hz, 0.1); m != (Match{}) {
			t.Errorf("%v Hz: %+v", hz, m)
		}
	}
	if m := r.Resolve(atCents(440, 52), 0); m.Step != 0 {
		t.Errorf("the target is forgotten: %+v", m)
	}
}

func TestTolerance(t *testing.T) {
	r := mustResolver(t, ResolverConfig{ToleranceCents: 3})
	for cents, want := range map[float64]string{0: InTune, 2.99: InTune, -2.99: InTune, 3.01: Sharp, -3.01: Flat} {
		if got := r.Resolve(atCents(440, cents), 0).Verdict; got != want {
			t.Errorf("%+g cents with tolerance 3: %s, want %s", cents, got, want)
		}
	}
	for _, bad := range []float64{-1, 51, math.NaN(), math.Inf(1)} {
		if _, err := NewResolver(ResolverConfig{ToleranceCents: bad}); err == nil || !strings.Contains(err.Error(), "tolerance") {
			t.Errorf("tolerance %v: %v", bad, err)
		}
	}
}

// Noise on the boundary of two targets never makes the label change and change back: one target
// is kept, or left once for the other.
func TestResolveNeverFlickers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 100).Draw(t, "division")
		sigma := rapid.Float64Range(0, 100).Draw(t, "sigma")
		offset := rapid.Float64Range(-1, 1).Draw(t, "offset from the boundary in sigma")
		tuning, err := ParseTuning(fmt.Sprintf("%dedo", n))
		if err != nil {
			t.Fatal(err)
		}
		r, err := NewResolver(ResolverConfig{Tuning: tuning})
		if err != nil {
			t.Fatal(err)
		}
		boundary := 600/float64(n) + offset*sigma
		rng := rand.New(rand.NewPCG(7, rapid.Uint64().Draw(t, "noise")))
		changes, last := 0, 0
		for i := range 300 {
			m := r.Resolve(atCents(440, boundary+sigma*(2*rng.Float64()-1)), sigma)
			if i > 0 && m.Step != last {
				changes++
			}
			last = m.Step
		}
		if changes > 0 {
			t.Fatalf("%dedo, sigma %v: %d changes", n, sigma, changes)
		}
	})
}

// The same with normal noise: 100,000 readings right on a boundary.
func TestResolveNormalNoise(t *testing.T) {
	r := mustResolver(t, ResolverConfig{Tuning: mustTuning(t, "41edo")})
	const sigma = 3.0
	rng := rand.New(rand.NewPCG(41, 1))
	changes, last := 0, r.Resolve(atCents(440, 600./41), sigma).Step
	for range 100_000 {
		if m := r.Resolve(atCents(440, 600./41+sigma*rng.NormFloat64()), sigma); m.Step != last {
			changes, last = changes+1, m.Step
		}
	}
	// Leaving takes +4 sigma on one side and coming back -4 sigma on the other, 3.2e-5 each
	// (tail of the normal distribution): about three of 100,000, where plain nearest makes 50,000.
	if changes > 12 {
		t.Errorf("%d changes in 100,000 readings (PCG 41, 1)", changes)
	}
}

func TestResolveFollowsTheString(t *testing.T) {
	r := mustResolver(t, ResolverConfig{})
	for _, c := range []struct {
		cents, sigma float64
		step         int
	}{
		{40, 0.1, 0}, {55, 0.1, 0}, {59.9, 0.1, 0}, {60.1, 0.1, 1}, // a tenth of 100 beyond the middle
		{45, 0.1, 1}, {40.1, 0.1, 1}, {39.9, 0.1, 0},
		{60.1, 5, 0}, {69.9, 5, 0}, {70.1, 5, 1}, // four sigma beyond the middle
		{31, 5, 1}, {29.9, 5, 0},
		{1210, 0.1, 12}, // far away at once
		{60, math.NaN(), 1}, {55, -1, 1},
		{700, math.Inf(1), 1}, // knows nothing, so keeps what it has
	} {
		if m := r.Resolve(atCents(440, c.cents), c.sigma); m.Step != c.step {
			t.Errorf("at %g cents, sigma %g: step %d, want %d", c.cents, c.sigma, m.Step, c.step)
		}
	}
	r.Reset()
	if m := r.Resolve(atCents(440, 51), 0.1); m.Step != 1 {
		t.Errorf("after Reset: step %d, want the nearest, 1", m.Step)
	}
}

func TestResolveStrings(t *testing.T) {
	r := mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "guitar-12edo")})
	for i, s := range r.Strings() {
		for _, cents := range []float64{-150, 0, 150} {
			r.Reset()
			m := r.Resolve(atCents(s.Hz, cents), 0.1)
			if m.Target != s || m.String != i+1 {
				t.Errorf("%g cents beside string %d: %+v", cents, i+1, m.Target)
			}
			near(t, s.Label, m.Cents, cents, 1e-9)
		}
	}
	r.Reset()
	if m := r.Resolve(440, 0.1); m.String != 1 || m.Fret != 0 {
		t.Errorf("A4 is fretted, without Frets it belongs to open string 1: %+v", m)
	}
	if _, hz := r.Expected(); hz != nil {
		t.Error("anything may sound while no string is held")
	}
}

func TestResolveHeldString(t *testing.T) {
	r := mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "guitar-12edo"), String: 6})
	if m := r.Resolve(440, 0.1); m.String != 6 || m.Label != "E2" || m.Verdict != FarOff {
		t.Errorf("held E2 reads A4 as %+v", m)
	}
	near(t, "E2 to A4", r.Resolve(440, 0.1).Cents, 2900, 1e-6)
	if _, hz := r.Expected(); len(hz) != 1 || math.Abs(hz[0]-82.406889) > 1e-6 { // equal_tempered_frequencies.csv
		t.Errorf("expected %v, want E2", hz)
	}
	if err := r.Hold(0); err != nil || r.Held() != 0 || r.Resolve(247, 0.1).Label != "B3" {
		t.Errorf("let go: held %d, %v", r.Held(), err)
	}
	for _, n := range []int{-1, 7} {
		if err := r.Hold(n); err == nil || !strings.Contains(err.Error(), "strings 1 to 6") {
			t.Errorf("hold %d: %v", n, err)
		}
	}
	if _, err := NewResolver(ResolverConfig{String: 1}); err == nil {
		t.Error("a string is held without an instrument")
	}
}

// Fretted notes: the lowest fret that has the pitch, then the string listed first.
func TestResolveFrets(t *testing.T) {
	r := mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "guitar-12edo"), Frets: true})
	for _, c := range []struct {
		hz           float64
		label        string
		string, fret int
	}{
		{82.407, "E2", 6, 0},
		{87.307, "F2", 6, 1},
		{110, "A2", 5, 0}, // also string 6 fret 5
		{246.94, "B3", 2, 0},
		{261.63, "C4", 2, 1},
		{440, "A4", 1, 5},
		{1174.66, "D6", 1, 22},
	} {
		r.Reset()
		if m := r.Resolve(c.hz, 0.1); m.Label != c.label || m.String != c.string || m.Fret != c.fret {
			t.Errorf("%v Hz: %+v, want %+v", c.hz, m.Target, c)
		}
	}
	if err := r.Hold(6); err != nil {
		t.Fatal(err)
	}
	if m := r.Resolve(110, 0.1); m.String != 6 || m.Fret != 5 {
		t.Errorf("A2 on the held string 6: %+v", m.Target)
	}
	_, hz := r.Expected()
	if got := len(hz); got != 23 {
		t.Errorf("%d pitches on the held string, want 23", got)
	}
}

func TestResolverReference(t *testing.T) {
	r := mustResolver(t, ResolverConfig{Reference: &Reference{"A4", 442}})
	if m := r.Resolve(442, 0.1); m.Label != "A4" || m.Cents != 0 {
		t.Errorf("%+v", m)
	}
	r = mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "violin"), Reference: &Reference{"A4", 443}})
	near(t, "violin E5 at A4=443", r.Strings()[0].Hz, 664.5, 1e-9)
	if _, err := NewResolver(ResolverConfig{Reference: &Reference{"A4", 0}}); err == nil {
		t.Error("reference of 0 Hz is accepted")
	}
}

func TestResolveAllocatesNothing(t *testing.T) {
	for name, r := range resolvers(t) {
		hz := 60.0
		if got := testing.AllocsPerRun(2000, func() {
			r.Resolve(hz, 0.2)
			if hz *= 1.003; hz > 3000 {
				hz = 60
				r.Reset()
			}
		}); got != 0 {
			t.Errorf("%s: %v allocations a reading", name, got)
		}
	}
}

func resolvers(t testing.TB) map[string]*Resolver {
	return map[string]*Resolver{
		"tuning=12edo":   mustResolver(t, ResolverConfig{}),
		"tuning=311edo":  mustResolver(t, ResolverConfig{Tuning: mustTuning(t, "311edo")}),
		"strings=guitar": mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "guitar-12edo")}),
		"frets=guitar":   mustResolver(t, ResolverConfig{Instrument: mustInstrument(t, "guitar-12edo"), Frets: true}),
	}
}

func BenchmarkResolve(b *testing.B) {
	for name, r := range resolvers(b) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			hz := 60.0
			for b.Loop() {
				r.Resolve(hz, 0.2)
				if hz *= 1.003; hz > 3000 {
					hz = 60
				}
			}
		})
	}
}

func BenchmarkNewResolver(b *testing.B) {
	for _, spec := range []string{"12edo", "10000edo"} {
		tuning := mustTuning(b, spec)
		b.Run("tuning="+spec, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := NewResolver(ResolverConfig{Tuning: tuning}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// The package knows nothing of devices, screens or the other stages; only how files are read.
func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-f", "{{if not .Standard}}{{.ImportPath}}{{end}}", ".").Output()
	if err != nil {
		t.Skip("no go command: ", err)
	}
	for path := range strings.FieldsSeq(string(out)) {
		if path != "tunerd/internal/targets" && path != "tunerd/internal/strict" && !strings.HasPrefix(path, "github.com/pelletier/go-toml/v2") {
			t.Errorf("imports %s", path)
		}
	}
}
