package mic

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/device"
)

// openFake opens a microphone of c; end closes it and checks that no process is left.
func openFake(t *testing.T, c *fakeCard, o capture.Options) (m *mic, end func()) {
	t.Helper()
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	m, err := newMic(t.Context(), c.record, "", o)
	if err != nil {
		t.Fatal(err)
	}
	return m, func() {
		t.Helper()
		m.Close()
		synctest.Wait()
		c.checkClosed(t)
	}
}

// readNext reads one block and checks that its position follows from what was lost.
func readNext(t *testing.T, m *mic, pos *int64, dst []float64) capture.Block {
	t.Helper()
	b, err := m.Read(t.Context(), dst)
	if err != nil {
		t.Fatalf("read: %v", err)
	}
	if len(b.Samples) == 0 || b.Start != *pos+b.Lost {
		t.Fatalf("block of %d samples at %d with %d lost, want one at %d", len(b.Samples), b.Start, b.Lost, *pos+b.Lost)
	}
	*pos = b.Start + int64(len(b.Samples))
	return b
}

// checkRun checks that the samples are fakeSample of successive frames from first on.
func checkRun(t *testing.T, samples []float64, first int64) {
	t.Helper()
	for i, v := range samples {
		if want := float64(fakeSample(first + int64(i))); v != want {
			t.Fatalf("sample %d of the block is %v, want %v (frame %d)", i, v, want, first+int64(i))
		}
	}
}

// frameOf is the frame of the card that a sample is.
func frameOf(sample float64) int64 { return int64(math.Round(sample * (1 << 20))) }

// untilLost reads until the loss of the device is told.
func untilLost(t *testing.T, m *mic) {
	t.Helper()
	dst := make([]float64, 479)
	for {
		if _, err := m.Read(t.Context(), dst); err != nil {
			if !errors.Is(err, capture.ErrDeviceLost) {
				t.Fatalf("read: %v, want ErrDeviceLost", err)
			}
			return
		}
	}
}

// TestMicCounts leaves the reader away for a while. The position keeps counting the card's frames:
// sample Start of the source is always frame Start after the first one.
func TestMicCounts(t *testing.T) {
	for _, tt := range []struct {
		name        string
		away        time.Duration
		least, most int64 // samples lost
	}{
		{"not", 0, 0, 0},
		{"shortly", 1900 * time.Millisecond, 0, 0},
		{"for long", 10 * time.Second, 7 * fakeRate, 8 * fakeRate},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newFakeCard()
				m, end := openFake(t, c, capture.Options{})
				defer end()
				var pos, lost int64
				dst := make([]float64, 479)
				first := frameOf(readNext(t, m, &pos, dst).Samples[0])
				for pos < fakeRate {
					b := readNext(t, m, &pos, dst)
					checkRun(t, b.Samples, first+b.Start)
				}
				time.Sleep(tt.away)
				for pos < 15*fakeRate {
					b := readNext(t, m, &pos, dst)
					lost += b.Lost
					checkRun(t, b.Samples, first+b.Start)
				}
				if lost < tt.least || lost > tt.most {
					t.Errorf("%d samples lost, want %d to %d", lost, tt.least, tt.most)
				}
			})
		})
	}
}

// TestMicVanishes takes the device away and brings it back. The loss must be told once, in time,
// and bridged by the clock; the return must be noticed within 3 s, whatever hangs.
func TestMicVanishes(t *testing.T) {
	const away = 7300 * time.Millisecond
	for _, tt := range []struct {
		name string
		told time.Duration // at most
		goes func(c *fakeCard)
		back func(c *fakeCard)
	}{
		{"and cannot be opened", 1100 * time.Millisecond,
			func(c *fakeCard) { c.mute.Store(true); c.gone.Store(true) },
			func(c *fakeCard) { c.mute.Store(false); c.gone.Store(false) }},
		{"and its process ends", 20 * time.Millisecond,
			func(c *fakeCard) { c.gone.Store(true); c.crash() },
			func(c *fakeCard) { c.gone.Store(false) }},
		{"and opening it hangs for good", 1100 * time.Millisecond,
			func(c *fakeCard) { c.mute.Store(true); c.hangs.Store(true) },
			func(c *fakeCard) { c.mute.Store(false); c.hangs.Store(false) }},
		{"and stays silent when opened", 1100 * time.Millisecond,
			func(c *fakeCard) { c.mute.Store(true) },
			func(c *fakeCard) { c.mute.Store(false) }},
		{"and begins slowly", 1100 * time.Millisecond,
			func(c *fakeCard) { c.mute.Store(true); c.gone.Store(true); c.delay = 1900 * time.Millisecond },
			func(c *fakeCard) { c.mute.Store(false); c.gone.Store(false) }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newFakeCard()
				m, end := openFake(t, c, capture.Options{})
				defer end()
				var pos int64
				dst := make([]float64, 479)
				for round := range 3 { // the watch is set again after a return
					for until := pos + fakeRate; pos < until; {
						readNext(t, m, &pos, dst)
					}
					synctest.Wait()
					tt.goes(c)
					gone := time.Now()
					var err error
					for err == nil {
						var b capture.Block
						b, err = m.Read(t.Context(), dst)
						pos += int64(len(b.Samples))
					}
					if !errors.Is(err, capture.ErrDeviceLost) {
						t.Fatalf("read: %v, want ErrDeviceLost", err)
					}
					if took := time.Since(gone); took > tt.told {
						t.Errorf("round %d: loss told after %v, want within %v", round, took, tt.told)
					}
					time.AfterFunc(away, func() { tt.back(c) })
					var b capture.Block
					begun := time.Now()
					b = readNext(t, m, &pos, dst) // waits
					if took := time.Since(begun) - away; took > 3*time.Second || took < 0 {
						t.Errorf("round %d: heard %v after its return, want within 3 s", round, took)
					}
					elapsed := time.Since(gone).Seconds() * fakeRate
					if diff := float64(b.Lost) + device.BlockLen - elapsed; math.Abs(diff) > 2*device.BlockLen {
						t.Errorf("round %d: %d samples lost, want about %.0f", round, b.Lost, elapsed-device.BlockLen)
					}
				}
				for until := pos + 5*fakeRate; pos < until; { // no more
					if b := readNext(t, m, &pos, dst); b.Lost != 0 {
						t.Fatalf("%d more samples lost", b.Lost)
					}
				}
			})
		})
	}
}

// TestMicTriesFew counts the processes that are started while a device is away for ten minutes.
func TestMicTriesFew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newFakeCard()
		m, end := openFake(t, c, capture.Options{})
		defer end()
		c.gone.Store(true)
		c.crash()
		untilLost(t, m)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
		defer cancel()
		if _, err := m.Read(ctx, make([]float64, 1)); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("read: %v, want the deadline", err)
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		if n := len(c.asked); n < 500 || n > 620 {
			t.Errorf("%d processes in ten minutes, want one a second", n)
		}
		if last := c.asked[len(c.asked)-1]; last.Rate != fakeRate {
			t.Errorf("asked for %+v, want the rate as it was", last)
		}
	})
}

func TestMicStarts(t *testing.T) {
	tests := []struct {
		name  string
		setup func(c *fakeCard)
		err   string // expected
	}{
		{"at once", func(*fakeCard) {}, ""},
		{"when it takes its time", func(c *fakeCard) { c.delay = 1600 * time.Millisecond }, ""},
		{"not when it stays silent", func(c *fakeCard) { c.mute.Store(true) }, `input device "bench" was opened but delivers nothing`},
		{"not when it cannot be opened", func(c *fakeCard) { c.gone.Store(true) }, "no microphone found"},
		{"not when opening hangs", func(c *fakeCard) { c.hangs.Store(true) }, errNoAnswer.Error()},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newFakeCard()
				tt.setup(c)
				m, err := newMic(t.Context(), c.record, "ben", capture.Options{Log: slog.New(slog.DiscardHandler), Channel: 2, SampleRate: fakeRate})
				if want := (device.Input{Name: "ben", Channel: 2, Rate: fakeRate}); c.asked[0] != want {
					t.Errorf("asked for %+v, want %+v", c.asked[0], want)
				}
				if tt.err != "" {
					if err == nil || !strings.Contains(err.Error(), tt.err) {
						t.Errorf("open: %v, want %q", err, tt.err)
					}
					c.checkClosed(t)
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				if m.SampleRate() != fakeRate || m.Name() != "bench" || !m.Live() {
					t.Errorf("%q, %d Hz, live %v; want bench, %d Hz, live", m.Name(), m.SampleRate(), m.Live(), fakeRate)
				}
				m.Close()
				synctest.Wait()
				c.checkClosed(t)
			})
		})
	}
}

// TestMicReadEnds ends a Read that waits for a lost device.
func TestMicReadEnds(t *testing.T) {
	for _, tt := range []struct {
		name string
		end  func(m *mic, cancel func())
		want error
	}{
		{"by Close", func(m *mic, _ func()) { m.Close() }, fs.ErrClosed},
		{"by its context", func(_ *mic, cancel func()) { cancel() }, context.Canceled},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := newFakeCard()
				m, end := openFake(t, c, capture.Options{})
				defer end()
				c.mute.Store(true)
				untilLost(t, m)
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				var ended time.Time
				time.AfterFunc(time.Minute, func() {
					ended = time.Now()
					tt.end(m, cancel)
				})
				_, err := m.Read(ctx, make([]float64, 512))
				if !errors.Is(err, tt.want) {
					t.Errorf("read: %v, want %v", err, tt.want)
				}
				if late := time.Since(ended); late != 0 {
					t.Errorf("read ended %v late", late)
				}
			})
		})
	}
}

// TestMicOpenIsGivenUp ends the context while the device is silent.
func TestMicOpenIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := newFakeCard()
		c.mute.Store(true)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := newMic(ctx, c.record, "", capture.Options{Log: slog.New(slog.DiscardHandler)}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("open: %v, want the deadline", err)
		}
		c.checkClosed(t)
	})
}
