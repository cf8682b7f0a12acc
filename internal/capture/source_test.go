package capture

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// suiteSamples are what every source of the suite delivers: 10000 samples of 16 bits.
var suiteSamples = func() []int16 {
	s := make([]int16, 10000)
	x := uint32(1)
	for i := range s {
		x = x*1664525 + 1013904223 // Numerical Recipes, 2nd ed., 7.1
		s[i] = int16(x >> 16)
	}
	return s
}()

// TestSources runs one suite over every kind of source: the size of blocks must not matter, an
// end is told again and again, and Close and a context end a Read.
func TestSources(t *testing.T) {
	wav := wavFile{tag: 1, channels: 1, rate: 48000, bits: 16, data: le16(suiteSamples...)}.bytes()
	want := make([]float64, len(suiteSamples))
	for i, v := range suiteSamples {
		want[i] = float64(v) / 32768
	}
	raw := Options{Raw: "s16le"}
	sources := []struct {
		name string
		open func(t *testing.T) Source
		want []float64 // nil: only that reads of every size agree
	}{
		{"WAV file", func(t *testing.T) Source { return mustOpen(t, writeFile(t, "x.wav", wav), Options{}) }, want},
		{"FLAC file", func(t *testing.T) Source { return mustOpen(t, "testdata/stereo16.flac", Options{}) }, nil},
		{"paced WAV file", func(t *testing.T) Source { return mustOpen(t, writeFile(t, "x.wav", wav), Options{Paced: true}) }, want},
		{"WAV on standard input", func(t *testing.T) Source { return openStdin(t, wav, Options{}) }, want},
		{"bare samples on standard input", func(t *testing.T) Source { return openStdin(t, le16(suiteSamples...), raw) }, want},
		{"demo", func(t *testing.T) Source { return mustOpen(t, "demo", Options{SampleRate: 8000}) }, nil},
	}
	for _, s := range sources {
		t.Run(s.name, func(t *testing.T) {
			ref := s.want
			for _, size := range []int{479, 1, 4096, 20000} {
				src := s.open(t)
				got := readAll(t, src, size)
				if ref == nil {
					ref = got
				}
				if !slices.Equal(got, ref) {
					t.Fatalf("blocks of %d: %d samples that differ from the %d expected", size, len(got), len(ref))
				}
				for range 2 {
					if _, err := src.Read(t.Context(), make([]float64, size)); err != io.EOF {
						t.Errorf("read after the end: %v, want io.EOF", err)
					}
				}
			}
			checkEnds(t, s.open)
		})
	}
}

// checkEnds reads a source whose context has ended, and one that is closed.
func checkEnds(t *testing.T, open func(t *testing.T) Source) {
	t.Helper()
	src := open(t)
	if src.Name() == "" || src.SampleRate() < 8000 {
		t.Errorf("name %q, sample rate %d Hz", src.Name(), src.SampleRate())
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := src.Read(ctx, make([]float64, 100)); !errors.Is(err, context.Canceled) {
		t.Errorf("read with an ended context: %v, want context.Canceled", err)
	}
	if b, err := src.Read(t.Context(), make([]float64, 100)); err != nil || b.Start != 0 {
		t.Errorf("read after that: from %d, %v; want from 0", b.Start, err)
	}
	for range 2 {
		if err := src.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	}
	if _, err := src.Read(t.Context(), make([]float64, 100)); !errors.Is(err, fs.ErrClosed) {
		t.Errorf("read after Close: %v, want fs.ErrClosed", err)
	}
}

// openStdin opens standard input while it is a pipe that data is written to, piece by piece.
func openStdin(t *testing.T, data []byte, o Options) Source {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		defer w.Close()
		for piece := range slices.Chunk(data, 777) { // ends within samples
			if _, err := w.Write(piece); err != nil {
				return
			}
		}
	}()
	stdin := os.Stdin
	os.Stdin = r
	defer func() { os.Stdin = stdin }()
	t.Cleanup(func() { r.Close() })
	return mustOpen(t, "-", o)
}

// TestRawFormats reads bare samples in every format, and their channels and rate as told.
func TestRawFormats(t *testing.T) {
	formats := map[string][]byte{
		"s16le": le16(1<<14, -1<<15, 0, 1<<13),
		"s24le": le24(1<<22, -1<<23, 0, 1<<21),
		"s32le": le32(1<<30, -1<<31, 0, 1<<29),
		"f32le": littleEndian([]float32{0.5, -1, 0, 0.25}),
	}
	for name, data := range formats {
		src := openStdin(t, data, Options{Raw: name, SampleRate: 22050, Channels: 2, Channel: 2})
		if src.SampleRate() != 22050 {
			t.Errorf("%s: sample rate %d Hz, want 22050 Hz", name, src.SampleRate())
		}
		if got := readAll(t, src, 10); !slices.Equal(got, []float64{-1, 0.25}) {
			t.Errorf("%s: samples %v, want -1 and 0.25", name, got)
		}
	}
}

// TestPipeReadEnds ends a Read that waits for a pipe that nobody writes to, and an Open.
func TestPipeReadEnds(t *testing.T) {
	header := wavFile{tag: 1, channels: 1, rate: 48000, bits: 16, dataSize: pointer[uint32](0)}.bytes()
	open := func(t *testing.T) Source {
		r, w, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { w.Close() })
		if _, err := w.Write(header); err != nil {
			t.Fatal(err)
		}
		src, err := openStream(t.Context(), "pipe", r, Options{Log: discard})
		if err != nil {
			t.Fatal(err)
		}
		return src
	}
	t.Run("by Close", func(t *testing.T) {
		src := open(t)
		time.AfterFunc(20*time.Millisecond, func() { src.Close() })
		if _, err := src.Read(t.Context(), make([]float64, 10)); !errors.Is(err, fs.ErrClosed) {
			t.Errorf("read: %v, want fs.ErrClosed", err)
		}
	})
	t.Run("by its context", func(t *testing.T) {
		src := open(t)
		defer src.Close()
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer cancel()
		if _, err := src.Read(ctx, make([]float64, 10)); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("read: %v, want the deadline", err)
		}
	})
	t.Run("at Open", func(t *testing.T) {
		r, w, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		defer w.Close()
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer cancel()
		_, err = openStream(ctx, "pipe", r, Options{Log: discard})
		if !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), "pipe") {
			t.Errorf("open: %v, want the deadline and the name", err)
		}
	})
}

// TestPipeIsPrompt reads samples from a pipe before it holds a whole block.
func TestPipeIsPrompt(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	header := wavFile{tag: 1, channels: 1, rate: 48000, bits: 16, dataSize: pointer[uint32](0)}.bytes()
	if _, err := w.Write(append(header, le16(1<<14)...)); err != nil {
		t.Fatal(err)
	}
	src, err := openStream(t.Context(), "pipe", r, Options{Log: discard})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	for i := range 3 { // the pipe stays open: a Read that waits for more hangs
		b, err := src.Read(t.Context(), make([]float64, 512))
		if err != nil || len(b.Samples) != 1 || b.Samples[0] != 0.5 {
			t.Fatalf("read %d: %v, %v; want the one sample there is", i, b.Samples, err)
		}
		if _, err := w.Write(le16(1 << 14)); err != nil {
			t.Fatal(err)
		}
	}
}

// TestPaced reads a second of sound. By the clock of the test it must take that second, and a
// reader that was late must be able to catch up.
func TestPaced(t *testing.T) {
	w := wavFile{tag: 1, channels: 1, rate: 44100, bits: 16, data: make([]byte, 2*44100)}
	synctest.Test(t, func(t *testing.T) {
		path := writeFile(t, "x.wav", w.bytes())
		src := mustOpen(t, path, Options{Paced: true})
		if !Waits(src) || !Waits(mustOpen(t, path, Options{})) {
			t.Error("a recording does not wait for its reader")
		}
		if !src.Live() || mustOpen(t, path, Options{}).Live() {
			t.Error("a paced recording is live, another one is not")
		}
		begin := time.Now()
		dst := make([]float64, 441)
		for i := range 50 {
			if _, err := src.Read(t.Context(), dst); err != nil {
				t.Fatal(err)
			}
			if want := time.Duration(i+1) * 10 * time.Millisecond; time.Since(begin) != want {
				t.Fatalf("block %d came after %v, want %v", i, time.Since(begin), want)
			}
		}
		time.Sleep(300 * time.Millisecond)
		for pos := 50 * len(dst); pos < 44100; {
			b, err := src.Read(t.Context(), dst)
			if err != nil {
				t.Fatal(err)
			}
			pos += len(b.Samples)
		}
		// The last block may be shorter than its wait.
		if took := time.Since(begin); took < time.Second || took > 1010*time.Millisecond {
			t.Errorf("a second of sound took %v", took)
		}
	})
}

// TestPacedReadEnds ends a Read that waits for its time.
func TestPacedReadEnds(t *testing.T) {
	w := wavFile{tag: 1, channels: 1, rate: 8000, bits: 16, data: make([]byte, 16000)}
	synctest.Test(t, func(t *testing.T) {
		src := mustOpen(t, writeFile(t, "x.wav", w.bytes()), Options{Paced: true})
		begin := time.Now()
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer cancel()
		if _, err := src.Read(ctx, make([]float64, 8000)); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("read: %v, want the deadline", err)
		}
		time.AfterFunc(10*time.Millisecond, func() { src.Close() })
		if _, err := src.Read(t.Context(), make([]float64, 8000)); !errors.Is(err, fs.ErrClosed) {
			t.Errorf("read: %v, want fs.ErrClosed", err)
		}
		if took := time.Since(begin); took != 20*time.Millisecond {
			t.Errorf("both took %v, want 20 ms", took)
		}
	})
}
