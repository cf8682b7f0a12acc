package capture

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// readNext reads one block and checks that its position follows from what was lost.
func readNext(t *testing.T, m *mic, pos *int64, dst []float64) Block {
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
func checkRun(t *testing.T, samples []float64, first int64, channel int) {
	t.Helper()
	for i, v := range samples {
		if want := float64(fakeSample(first+int64(i), channel)); v != want {
			t.Fatalf("sample %d of the block is %v, want %v (frame %d)", i, v, want, first+int64(i))
		}
	}
}

// TestMicLoses makes the fake device do what real ones do, and checks that the position keeps
// counting the device's frames: sample Start of the source is always frame Start of the device.
// The fake's clock is exact, so the gap told by the clock is as well; on real devices it wavers.
func TestMicLoses(t *testing.T) {
	tests := []struct {
		name     string
		incident func(d *fakeDriver)
		away     time.Duration // that the reader stays away during it
		lost     int64         // samples, exactly
	}{
		{"nothing", func(*fakeDriver) {}, 0, 0},
		{"nothing, to a slow reader", func(*fakeDriver) {}, 1900 * time.Millisecond, 0},
		{"some, flagged", func(d *fakeDriver) {
			d.mute.Store(true)
			time.Sleep(samplesDuration(10*slotFrames, 48000))
			d.overflow.Store(true)
			d.mute.Store(false)
		}, 0, 10 * slotFrames},
		{"an unknown few, flagged", func(d *fakeDriver) { d.overflow.Store(true) }, 0, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newFakeDriver(fakeMic("bench", 1))
				m, end := openFake(t, d, "", Options{})
				defer end()
				var pos int64
				dst := make([]float64, 479)
				first := int64(math.Round(readNext(t, m, &pos, dst).Samples[0] * (1 << 20)))
				for pos < 48000 {
					b := readNext(t, m, &pos, dst)
					checkRun(t, b.Samples, first+b.Start, 0)
				}
				tt.incident(d)
				time.Sleep(tt.away)
				var lost int64
				for pos < 5*48000 {
					b := readNext(t, m, &pos, dst)
					lost += b.Lost
					if tt.lost != 1 { // else the fake lost nothing and the position is 1 off
						checkRun(t, b.Samples, first+b.Start, 0)
					}
				}
				if lost != tt.lost {
					t.Errorf("%d samples lost, want %d", lost, tt.lost)
				}
			})
		})
	}
}

// TestMicOverrun leaves the ring to fill up. What does not fit is counted exactly.
func TestMicOverrun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newFakeDriver(fakeMic("bench", 1))
		m, end := openFake(t, d, "", Options{})
		defer end()
		time.Sleep(10 * time.Second)
		synctest.Wait()
		var pos int64
		dst := make([]float64, 4096)
		first := int64(math.Round(readNext(t, m, &pos, dst).Samples[0] * (1 << 20)))
		for lost := int64(0); lost == 0; {
			b := readNext(t, m, &pos, dst)
			lost = b.Lost
			if lost > 0 && (b.Start-lost < 2*48000 || lost < 7*48000) {
				t.Errorf("%d samples lost after %d, want about 8 s lost after at least 2 s", lost, b.Start-lost)
			}
			checkRun(t, b.Samples, first+b.Start, 0)
		}
	})
}

// TestMicVanishes takes the device away and brings it back. The loss must be told once, within
// 1.5 s, and bridged by the clock.
func TestMicVanishes(t *testing.T) {
	for name, back := range map[string]Device{
		"and returns":              fakeMic("bench", 2),
		"and returns with less":    fakeMic("bench", 1),
		"and returns as the other": fakeMic("bench (2)", 2),
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newFakeDriver(fakeMic("other", 1), fakeMic("bench", 2))
				m, end := openFake(t, d, "BENCH", Options{})
				defer end()
				var pos int64
				dst := make([]float64, 479)
				for pos < 48000 {
					readNext(t, m, &pos, dst)
				}
				d.mute.Store(true)
				d.setDevices(fakeMic("other", 1))
				gone := time.Now()
				var err error
				for err == nil {
					var b Block
					b, err = m.Read(t.Context(), dst)
					pos += int64(len(b.Samples))
				}
				if !errors.Is(err, ErrDeviceLost) {
					t.Fatalf("read: %v, want ErrDeviceLost", err)
				}
				if took := time.Since(gone); took > 1500*time.Millisecond {
					t.Errorf("loss told after %v, want within 1.5 s", took)
				}
				go func() {
					time.Sleep(7300 * time.Millisecond)
					d.setDevices(fakeMic("new", 1), back)
					d.mute.Store(false)
				}()
				b := readNext(t, m, &pos, dst) // waits
				elapsed := time.Since(gone).Seconds() * 48000
				if diff := float64(b.Lost) + slotFrames - elapsed; math.Abs(diff) > slotFrames {
					t.Errorf("%d samples lost, want about %.0f", b.Lost, elapsed-slotFrames)
				}
				for pos < 12*48000 { // no second loss
					if b := readNext(t, m, &pos, dst); b.Lost != 0 {
						t.Fatalf("%d more samples lost", b.Lost)
					}
				}
			})
		})
	}
}

// TestMicVanishesTwice checks that the watch is set again after a return.
func TestMicVanishesTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newFakeDriver(fakeMic("bench", 1))
		m, end := openFake(t, d, "", Options{})
		defer end()
		dst := make([]float64, 479)
		for round := range 3 {
			time.AfterFunc(time.Second, func() { d.mute.Store(true) })
			var err error
			for err == nil {
				_, err = m.Read(t.Context(), dst)
			}
			if !errors.Is(err, ErrDeviceLost) {
				t.Fatalf("round %d: read: %v, want ErrDeviceLost", round, err)
			}
			time.AfterFunc(time.Second, func() { d.mute.Store(false) })
			if b, err := m.Read(t.Context(), dst); err != nil || b.Lost < 48000 {
				t.Fatalf("round %d: read %d lost, %v; want at least a second lost", round, b.Lost, err)
			}
		}
	})
}

// TestMicHangs has the driver's stop hang, as it does when the sound server is frozen.
func TestMicHangs(t *testing.T) {
	lose := func(t *testing.T) (*fakeDriver, *mic, *logBuffer, func()) {
		d := newFakeDriver(fakeMic("bench", 1))
		d.hang = make(chan struct{})
		var log logBuffer
		m, end := openFake(t, d, "", Options{Log: logTo(&log)})
		d.mute.Store(true)
		var err error
		for err == nil {
			_, err = m.Read(t.Context(), make([]float64, 512))
		}
		if !errors.Is(err, ErrDeviceLost) {
			t.Fatalf("read: %v, want ErrDeviceLost", err)
		}
		return d, m, &log, end
	}
	t.Run("and goes on", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			d, m, log, end := lose(t)
			defer end()
			time.AfterFunc(time.Minute, func() {
				d.mute.Store(false)
				close(d.hang)
			})
			b, err := m.Read(t.Context(), make([]float64, 512))
			if err != nil || b.Lost < 60*48000 {
				t.Errorf("read %d lost, %v; want a minute lost", b.Lost, err)
			}
			if n := strings.Count(log.String(), "does not answer"); n != 1 {
				t.Errorf("told %d times that the sound system does not answer, want once", n)
			}
		})
	})
	t.Run("and is given up", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			d, m, _, end := lose(t)
			ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
			defer cancel()
			if _, err := m.Read(ctx, make([]float64, 512)); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("read: %v, want the deadline", err)
			}
			begin := time.Now()
			if err := m.Close(); !errors.Is(err, errNoAnswer) {
				t.Errorf("close: %v, want %v", err, errNoAnswer)
			}
			if took := time.Since(begin); took > closeLimit {
				t.Errorf("close took %v, want no more than %v", took, closeLimit)
			}
			close(d.hang) // what was asked for is done even so
			end()
		})
	})
}

func TestMicStarts(t *testing.T) {
	tests := []struct {
		name  string
		setup func(d *fakeDriver)
		o     Options
		rate  int    // Hz, expected
		err   string // expected instead
	}{
		{"at the default rate", func(*fakeDriver) {}, Options{}, 48000, ""},
		{"at the device's own rate", func(d *fakeDriver) { d.rates = []int{44100} }, Options{}, 44100, ""},
		{"at the rate asked for", func(*fakeDriver) {}, Options{SampleRate: 96000}, 96000, ""},
		{"not at a rate that is not offered", func(d *fakeDriver) { d.rates = []int{44100, 48000} },
			Options{SampleRate: 96000}, 0, `open input device "bench" at 96000 Hz: invalid sample rate`},
		{"when it takes its time", func(d *fakeDriver) { d.delay = 1600 * time.Millisecond }, Options{}, 48000, ""},
		{"not when it stays silent", func(d *fakeDriver) { d.mute.Store(true) }, Options{}, 0,
			`input device "bench" was opened but delivers nothing`},
		{"not on a channel that is not there", func(*fakeDriver) {}, Options{Channel: 3}, 0,
			`channel 3 is not there; input device "bench" has 2`},
		{"not without a device", func(d *fakeDriver) { d.setDevices(Device{Name: "loudspeaker", MaxOutput: 2}) },
			Options{}, 0, "no microphone found"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newFakeDriver(fakeMic("bench", 2))
				tt.setup(d)
				tt.o.Log = discard
				ctl := newControl(d)
				defer d.checkClosed(t, ctl)
				m, err := newMic(t.Context(), ctl, "", tt.o)
				if tt.err != "" {
					if err == nil || !strings.Contains(err.Error(), tt.err) {
						t.Errorf("open: %v, want %q", err, tt.err)
					}
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				defer m.Close()
				if m.SampleRate() != tt.rate || m.Name() != "bench" || !m.Live() {
					t.Errorf("%q, %d Hz, live %v; want bench, %d Hz, live", m.Name(), m.SampleRate(), m.Live(), tt.rate)
				}
			})
		})
	}
}

func TestMicChannels(t *testing.T) {
	tests := []struct {
		has, pick, opened int
		offset            float64 // of a sample from that of channel 1
	}{
		{1, 0, 1, 0}, {1, 1, 1, 0}, {2, 0, 2, 0.5}, {2, 2, 2, 1}, {8, 0, 2, 0.5}, {8, 1, 1, 0}, {8, 5, 5, 4},
	}
	for _, tt := range tests {
		synctest.Test(t, func(t *testing.T) {
			d := newFakeDriver(fakeMic("bench", tt.has))
			m, end := openFake(t, d, "", Options{Channel: tt.pick})
			defer end()
			b, err := m.Read(t.Context(), make([]float64, 512))
			if err != nil {
				t.Fatal(err)
			}
			if got := d.opened[0].channels; got != tt.opened {
				t.Errorf("channel %d of %d: %d channels opened, want %d", tt.pick, tt.has, got, tt.opened)
			}
			if got := math.Floor(b.Samples[0]*2) / 2; got != tt.offset {
				t.Errorf("channel %d of %d: sample %v, want %v and a little", tt.pick, tt.has, b.Samples[0], tt.offset)
			}
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
				d := newFakeDriver(fakeMic("bench", 1))
				m, end := openFake(t, d, "", Options{})
				defer end()
				d.mute.Store(true)
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				var err error
				for err == nil {
					_, err = m.Read(ctx, make([]float64, 512))
				}
				var ended time.Time
				time.AfterFunc(time.Hour, func() {
					ended = time.Now()
					tt.end(m, cancel)
				})
				_, err = m.Read(ctx, make([]float64, 512))
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
		d := newFakeDriver(fakeMic("bench", 1))
		d.mute.Store(true)
		ctl := newControl(d)
		defer d.checkClosed(t, ctl)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := newMic(ctx, ctl, "", Options{Log: discard}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("open: %v, want the deadline", err)
		}
	})
}

func TestChooseInput(t *testing.T) {
	devices := []Device{
		{Name: "Loudspeaker", HostAPI: "ALSA", MaxOutput: 2},
		{Name: "Built-in Mic", HostAPI: "ALSA", MaxInput: 2, index: 1},
		{Name: "Bench", HostAPI: "ALSA", MaxInput: 1, index: 2, DefaultInput: true},
		{Name: "Bench mic", HostAPI: "ALSA", MaxInput: 1, index: 3},
		{Name: "Bench mic", HostAPI: "JACK", MaxInput: 1, index: 4},
		{Name: "Interface 8ch", HostAPI: "JACK", MaxInput: 8, MaxOutput: 8, index: 5},
	}
	tests := []struct {
		name  string
		index int
		err   string
	}{
		{"", 2, ""},
		{"Bench", 2, ""}, // exactly, though it is part of others
		{"Bench mic", 3, ""},
		{"JACK: Bench mic", 4, ""},
		{"BENCH M", 3, ""}, // two of one name
		{"8CH", 5, ""},
		{"mic", 0, `"mic" fits several input devices: "Built-in Mic", "Bench mic"`},
		{"Loudspeaker", 0, `no input device named "Loudspeaker"; there are "Built-in Mic", "Bench", "Bench mic", "Interface 8ch"`},
	}
	for _, tt := range tests {
		d, err := chooseInput(devices, tt.name)
		if tt.err != "" {
			if err == nil || err.Error() != tt.err {
				t.Errorf("%q: %v, want %s", tt.name, err, tt.err)
			}
			continue
		}
		if err != nil || d.index != tt.index {
			t.Errorf("%q: device %d, %v; want %d", tt.name, d.index, err, tt.index)
		}
	}
	if d, err := chooseInput(devices[3:], ""); err != nil || d.index != 3 {
		t.Errorf("without a default: device %d, %v; want the first", d.index, err)
	}
}

func TestListDevices(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newFakeDriver()
		ctl := newControl(d)
		defer d.checkClosed(t, ctl)
		if list, err := listDevices(ctl); len(list) != 0 || err != nil {
			t.Errorf("without devices: %v, %v; want none and no error", list, err)
		}
		d.setDevices(fakeMic("bench", 1))
		if list, err := listDevices(ctl); len(list) != 1 || err != nil {
			t.Errorf("with a device: %v, %v; want it", list, err)
		}
	})
}
