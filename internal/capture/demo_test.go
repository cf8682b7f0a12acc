package capture

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"math"
	"math/cmplx"
	"slices"
	"testing"
	"testing/synctest"
	"time"
)

// readDemo reads one pass of the demo in reads of the given size.
func readDemo(t *testing.T, o Options, size int) []float64 {
	t.Helper()
	src, err := Open(t.Context(), "demo", o)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	var all []float64
	dst := make([]float64, size)
	for {
		b, err := src.Read(t.Context(), dst)
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		if b.Start != int64(len(all)) || b.Lost != 0 {
			t.Fatalf("block at %d with %d lost, want %d and 0", b.Start, b.Lost, len(all))
		}
		all = append(all, b.Samples...)
	}
}

// partialOne measures the frequency near hz: the turn in phase of the partial between the two
// halves of x, each under a Hann window. With hop h between the halves, a departure of d Hz turns
// it by d·h/rate.
func partialOne(x []float64, rate, hz float64) float64 {
	half := len(x) / 2
	phasor := func(first int) complex128 {
		sum := complex(0, 0)
		for i := range half {
			w := 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(half))
			sum += cmplx.Rect(w*x[first+i], -2*math.Pi*hz*float64(first+i)/rate)
		}
		return sum
	}
	turn := cmplx.Phase(phasor(half) * cmplx.Conj(phasor(0)))
	return hz + turn/(2*math.Pi)*rate/float64(half)
}

// Twenty-two equal divisions of the octave above D3 = 146.8324 Hz: step 22 is the octave, 293.6648
// Hz, by definition; the others are 146.8324·2^(step/22), computed with Python.
func TestDemoStringsAreInTwentyTwoDivisions(t *testing.T) {
	want := map[int]float64{0: 146.8324, 13: 221.1583, 22: 293.6648, 29: 366.1290, 35: 442.3166}
	for _, p := range DemoScript() {
		if math.Abs(p.TargetHz()-want[p.Step]) > 1e-3 {
			t.Errorf("string %d, step %d: %.4f Hz, want %.4f", p.String, p.Step, p.TargetHz(), want[p.Step])
		}
	}
}

// The sound does what the script says: measured over a steady stretch of every pluck, before the peg
// and after it.
func TestDemoSoundsAsScripted(t *testing.T) {
	x := readDemo(t, Options{}, 4096)
	if len(x) != 79*48000 {
		t.Fatalf("%d samples, want 79 s", len(x))
	}
	check := func(p DemoPluck, from, to, cents float64) {
		t.Helper()
		want := p.TargetHz() * math.Exp2(cents/1200)
		got := partialOne(x[int(from*48000):int(to*48000)], 48000, want)
		if off := 1200 * math.Log2(got/want); math.Abs(off) > 0.03 {
			t.Errorf("string %d, %.1f–%.1f s: %.4f Hz, script %.4f (%+.3f cents)", p.String, from, to, got, want, off)
		}
	}
	for _, p := range DemoScript() {
		switch {
		case p.Chord: // other strings sound as well; the chord is measured by the pitch engine's tests
		case p.PegTo > 0:
			check(p, p.AtS+0.7, p.PegS, p.StartCents)
			check(p, p.PegTo+0.05, p.EndS, p.FinalCents)
		default:
			check(p, p.AtS+0.7, p.EndS, p.FinalCents)
		}
	}
}

// What the demo is to show: every string starts 5 to 40 cents off, one of them sharp, and ends
// within 0.3 cent; the chord comes last and has all five.
func TestDemoScriptTellsTheStory(t *testing.T) {
	first, last := map[int]float64{}, map[int]float64{}
	chord, sharp, end := 0, 0, 0.0
	for _, p := range DemoScript() {
		if _, known := first[p.String]; !known {
			first[p.String] = p.StartCents
		}
		last[p.String] = p.FinalCents
		if p.Chord {
			chord++
		} else if p.AtS < end {
			t.Errorf("string %d is plucked at %.2f s, before the hand stops the one before at %.2f s", p.String, p.AtS, end)
		}
		end = max(end, p.EndS)
		if p.PegTo > 0 && !(p.AtS < p.PegS && p.PegS < p.PegTo && p.PegTo < p.EndS) {
			t.Errorf("string %d: the peg is turned outside its pluck: %+v", p.String, p)
		}
	}
	for s, cents := range first {
		if math.Abs(cents) < 5 || math.Abs(cents) > 40 {
			t.Errorf("string %d starts at %+g cents", s, cents)
		}
		if math.Abs(last[s]) > 0.3 {
			t.Errorf("string %d ends at %+g cents", s, last[s])
		}
		if cents > 0 {
			sharp++
		}
	}
	if len(first) != 5 || chord != 5 || sharp != 1 || end >= demoLengthS {
		t.Errorf("%d strings, %d in the chord, %d sharp, end %g s", len(first), chord, sharp, end)
	}
}

func TestDemoLevels(t *testing.T) {
	x := readDemo(t, Options{}, 4096)
	peak, power := 0.0, 0.0
	for i, v := range x {
		peak = max(peak, math.Abs(v))
		if i < 36000 {
			power += v * v
		}
	}
	if peak < 0.1 || peak > 0.9 {
		t.Errorf("peak %.3f, want between 0.1 and 0.9", peak)
	}
	if db := 10 * math.Log10(power/36000); math.Abs(db+70) > 0.3 {
		t.Errorf("bench noise at %.1f dB, want −70", db)
	}
}

func TestDemoIsTheSameForEveryReadSize(t *testing.T) {
	want := readDemo(t, Options{SampleRate: 8000}, 4096)
	for _, size := range []int{1, 479} {
		if got := readDemo(t, Options{SampleRate: 8000}, size); !slices.Equal(got, want) {
			t.Errorf("reads of %d samples give another sound", size)
		}
	}
}

func TestPacedDemoKeepsTimeAndLoops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		once := readDemo(t, Options{SampleRate: 8000}, 4000)
		src, err := Open(t.Context(), "demo", Options{SampleRate: 8000, Paced: true})
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		if !src.Live() {
			t.Error("the paced demo is not live")
		}
		begin := time.Now()
		var all []float64
		dst := make([]float64, 800)
		for len(all) < len(once)+8000 {
			b, err := src.Read(t.Context(), dst)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, b.Samples...)
			played := time.Duration(len(all)) * time.Second / 8000
			if late := time.Since(begin) - played; late < 0 || late > 100*time.Millisecond {
				t.Fatalf("%v of sound after %v", played, time.Since(begin))
			}
		}
		if !slices.Equal(all[len(once):], once[:len(all)-len(once)]) {
			t.Error("the second pass differs from the first")
		}
	})
}

func TestDemoEnds(t *testing.T) {
	src, err := openDemo(Options{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := src.Read(ctx, make([]float64, 8)); !errors.Is(err, context.Canceled) {
		t.Errorf("read after cancel: %v", err)
	}
	src.Close()
	if _, err := src.Read(t.Context(), make([]float64, 8)); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("read after close: %v", err)
	}
	if _, err := openDemo(Options{Channel: 2}); err == nil {
		t.Error("channel 2 of the demo was opened")
	}
}

func TestDemoAllocatesNothingBetweenPlucks(t *testing.T) {
	src, err := openDemo(Options{})
	if err != nil {
		t.Fatal(err)
	}
	dst := make([]float64, 512)
	for range 200 { // 2.1 s: the first string sounds, its peg is being turned
		if _, err := src.Read(t.Context(), dst); err != nil {
			t.Fatal(err)
		}
	}
	if n := testing.AllocsPerRun(50, func() { src.Read(t.Context(), dst) }); n != 0 {
		t.Errorf("Read allocates %g times", n)
	}
}

func BenchmarkDemo(b *testing.B) {
	src, _ := openDemo(Options{Paced: true})
	dst := make([]float64, 512)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := src.Read(b.Context(), dst); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(512.0/48000*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
