package clock

import (
	"context"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tunerd/internal/capture"
)

// A tape is a source that plays samples, and loses some where it is told to.
type tape struct {
	samples []float64
	lose    map[int64]int64 // index of the source → how many are lost there
	live    bool
	pos     int64
	end     error
	passed  func(pos int64) // told after each Read; may be nil
}

func (p *tape) Name() string    { return "tape" }
func (p *tape) SampleRate() int { return rate }
func (p *tape) Live() bool      { return p.live }
func (p *tape) Close() error    { return nil }

func (p *tape) Read(ctx context.Context, dst []float64) (capture.Block, error) {
	if ctx.Err() != nil {
		return capture.Block{}, ctx.Err()
	}
	lost := int64(0)
	for at, n := range p.lose {
		if p.pos >= at {
			delete(p.lose, at)
			lost = n
		}
	}
	p.pos += lost
	if p.pos >= int64(len(p.samples)) {
		return capture.Block{}, p.end
	}
	n := copy(dst, p.samples[p.pos:])
	b := capture.Block{Samples: dst[:n], Start: p.pos, Lost: lost}
	p.pos += int64(n)
	if p.passed != nil {
		p.passed(p.pos)
	}
	return b, nil
}

// fast returns what a card that is fast by ppm records of a tone of 440 Hz: rate·(1+p) samples a
// second, so that each sample is so much earlier.
func fast(ppm, seconds float64) *tape {
	return &tape{samples: tone(440/(1+ppm*1e-6), seconds, 0.01, rand.New(rand.NewPCG(31, 0))), end: io.EOF}
}

func TestRecordingOfAFastCard(t *testing.T) {
	for _, ppm := range []float64{50, -50, 0, 499} {
		m, err := Measure(t.Context(), fast(ppm, 20), Job{ToneHz: 440})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(m.PPM-ppm) > 3*m.SigmaPPM || m.SigmaPPM > 0.005 || m.By != ByTone || m.Device != "tape" || m.RateHz != rate {
			t.Errorf("%+v, want %g ppm", m, ppm)
		}
		// The correction makes of the tone what it truly is.
		if hz := m.HeardHz / rate * m.Correction().Rate(rate); math.Abs(hz-440) > 1e-9 {
			t.Errorf("corrected, the tone is %g Hz", hz)
		}
	}
	m, err := Measure(t.Context(), fast(50, 10), Job{ToneHz: 440, ToneErrorPPM: 3, Seconds: 6})
	if err != nil || math.Abs(m.SigmaPPM-3) > 0.01 || math.Abs(m.Seconds-6) > 0.1 {
		t.Errorf("%+v, %v; want 6 s, and the error of the tone in the uncertainty", m, err)
	}
}

func TestNonsenseIsRefused(t *testing.T) {
	for _, c := range []struct {
		source *tape
		job    Job
		want   string
	}{
		{fast(600, 10), Job{ToneHz: 440}, "another tone"},
		{fast(-4500, 10), Job{ToneHz: 440}, "441.989 Hz is heard, +4520 ppm from 440 Hz"},
		{fast(0, 10), Job{ToneHz: 5}, "outside 20 to"},
		{fast(0, 10), Job{}, "not live"},
		{fast(0, 10), Job{ToneHz: 440, Seconds: 4}, "4 s are too short; at least 5 s"},
		{&tape{live: true}, Job{Seconds: 12}, "12 s are too short; at least 20 s"},
		{&tape{end: io.EOF}, Job{ToneHz: 440}, "too short"},
		{&tape{end: errors.New("broken"), samples: make([]float64, 20*rate)}, Job{ToneHz: 440}, "broken"},
		{&tape{end: io.EOF, live: true, samples: make([]float64, 30*rate)}, Job{}, "too short"}, // all at once
	} {
		if m, err := Measure(t.Context(), c.source, c.job); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v, %v; want %q", m, err, c.want)
		}
	}
	if Check(500) != nil || Check(-500) != nil || Check(500.1) == nil || Check(math.NaN()) == nil {
		t.Error("the limit is not 500 ppm")
	}
}

// TestLongestStretchCounts: where samples are lost, the phase of the tone and the count are too.
func TestLongestStretchCounts(t *testing.T) {
	source := fast(50, 30)
	source.lose = map[int64]int64{4 * rate: 1001, 24 * rate: 17}
	m, err := Measure(t.Context(), source, Job{ToneHz: 440})
	if err != nil {
		t.Fatal(err)
	}
	if m.Gaps != 2 || math.Abs(m.Seconds-20) > 0.1 || math.Abs(m.PPM-50) > 3*m.SigmaPPM {
		t.Errorf("%+v, want 50 ppm from 20 s, 2 gaps", m)
	}
}

// TestUsableSoundCounts: what was asked for is heard without a gap, however often sound is lost before,
// but not without end.
func TestUsableSoundCounts(t *testing.T) {
	source, progress := fast(50, 30), &Progress{}
	source.lose = map[int64]int64{4 * rate: 1001, 9 * rate: 17}
	m, err := Measure(t.Context(), source, Job{ToneHz: 440, Seconds: 8, Progress: progress})
	if err != nil || math.Abs(m.Seconds-8) > 0.1 || m.Gaps != 2 || progress.Fraction() != 1 {
		t.Errorf("%+v, %v, progress %g; want 8 s after two gaps", m, err, progress.Fraction())
	}
	source = fast(50, 60)
	source.lose = map[int64]int64{}
	for s := range int64(60) {
		source.lose[s*rate] = 17 // a stretch of a second is never enough
	}
	if m, err := Measure(t.Context(), source, Job{ToneHz: 440, Seconds: 6}); err == nil || !strings.Contains(err.Error(), "too short") || source.pos > 25*rate {
		t.Errorf("%+v, %v after %d s; want it to give up after three times 6 s", m, err, source.pos/rate)
	}
}

func TestInterruptionKeepsWhatThereIs(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	source, progress := fast(50, 30), &Progress{}
	source.passed = func(pos int64) {
		if pos > 10*rate {
			cancel()
		}
	}
	m, err := Measure(ctx, source, Job{ToneHz: 440, Seconds: 20, Progress: progress})
	if f := progress.Fraction(); math.Abs(f-0.5) > 0.01 {
		t.Errorf("progress %g, want half", f)
	}
	if err != nil || math.Abs(m.Seconds-10) > 0.1 {
		t.Errorf("%+v, %v; want 10 s", m, err)
	}
}

// The cents of a clock that is 100 ppm off: a sound card's usual worst, 0.17 cents.
func TestCents(t *testing.T) {
	if c := Cents(100); math.Abs(c-0.17312) > 1e-5 { // 1200·log2(1.0001), by hand
		t.Errorf("100 ppm are %g cents", c)
	}
}

func TestTable(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sub", "clock.json")
	table, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	check := func(want Correction) {
		t.Helper()
		if err := table.Save(path); err != nil {
			t.Fatal(err)
		}
		if table, err = Load(path); err != nil {
			t.Fatal(err)
		}
		if got := table.For("card", 48000); got != want {
			t.Errorf("correction %+v, want %+v", got, want)
		}
	}
	system := &Measurement{Device: "card", RateHz: 48000, By: BySystem, PPM: 7, SigmaPPM: 1, At: time.Now()}
	tone := &Measurement{Device: "card", RateHz: 48000, By: ByTone, PPM: 12.25, SigmaPPM: 0.2, At: time.Now(), ToneHz: 440}
	check(Correction{})
	if err := table.ApplySystem("card", 48000); !errors.Is(err, ErrNotMeasured) {
		t.Errorf("%v, want ErrNotMeasured", err)
	}
	table.Put(system)
	check(Correction{}) // not by itself
	if err := table.ApplySystem("card", 48000); err != nil {
		t.Fatal(err)
	}
	check(Correction{7, 1, BySystem})
	table.Put(tone)
	check(Correction{12.25, 0.2, ByTone})
	table.Put(system)
	check(Correction{12.25, 0.2, ByTone})
	if got := table.For("card", 44100); got != (Correction{}) {
		t.Errorf("at another rate %+v", got)
	}
	if err := errors.Join(table.ApplySystem("card", 48000), table.Forget("card")); err != nil {
		t.Fatal(err)
	}
	check(Correction{})
	if err := table.Forget("card"); !errors.Is(err, ErrNotMeasured) {
		t.Errorf("%v, want ErrNotMeasured", err)
	}
}

func TestDamagedTableIsNamed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "clock.json")
	bad := &Table{Devices: []Entry{{Device: "card", Tone: &Stored{PPM: 900}}}}
	if err := bad.Save(path); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(path); err == nil || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "900 ppm") {
		t.Errorf("%v", err)
	}
}
