package device

import (
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// launchFake starts children that are goroutines of this process, with a fake audio library, as
// long as the test runs. Use it in a synctest bubble.
func launchFake(t *testing.T, d *fakeDriver) {
	real := launch
	t.Cleanup(func() { launch = real })
	launch = func() (*process, error) {
		theirIn, ourOut := io.Pipe()
		ourIn, theirOut := io.Pipe()
		p := &process{wire: newWire(ourIn, ourOut), input: ourOut, output: ourIn, ended: make(chan struct{}), said: &chatter{}}
		p.kill = func() { theirIn.Close(); theirOut.Close() }
		go func() {
			defer close(p.ended)
			_ = newServant(d, theirIn, theirOut).serve() // told by its last message
			theirIn.Close()
			theirOut.Close()
		}()
		return p, nil
	}
}

// record starts a recording with a fake driver.
func record(t *testing.T, d *fakeDriver, in Input) (*Recorder, Opened) {
	t.Helper()
	launchFake(t, d)
	r, err := Record(in)
	if err != nil {
		t.Fatal(err)
	}
	o, err := r.Open()
	if err != nil {
		t.Fatal(err)
	}
	return r, o
}

// next reads a block, and checks that it follows and holds the frames that it should.
func next(t *testing.T, r *Recorder, b *Block, pos *int64, first int64) {
	t.Helper()
	if err := r.Next(b); err != nil {
		t.Fatal(err)
	}
	if b.Start != *pos+b.Lost || len(b.Samples) == 0 {
		t.Fatalf("block of %d at %d with %d lost, want one at %d", len(b.Samples), b.Start, b.Lost, *pos+b.Lost)
	}
	*pos = b.Start + int64(len(b.Samples))
	for i, v := range b.Samples {
		if want := fakeSample(first+b.Start+int64(i), 0); first >= 0 && v != want {
			t.Fatalf("sample %d is %v, want %v", b.Start+int64(i), v, want)
		}
	}
}

// TestRecordLoses makes the fake device do what real ones do. Sample Start is always frame Start
// of the device after the first one. The fake's clock is exact, so the gap told by the clock is as
// well; on real devices it wavers.
func TestRecordLoses(t *testing.T) {
	for _, tt := range []struct {
		name        string
		incident    func(d *fakeDriver)
		away        time.Duration // that the parent stays away after it
		least, most int64         // samples lost
		moved       bool          // the fake has lost none, so that all that follow are one off
	}{
		{"nothing", func(*fakeDriver) {}, 0, 0, 0, false},
		{"nothing, to a slow parent", func(*fakeDriver) {}, 1900 * time.Millisecond, 0, 0, false},
		{"what a stopped parent does not take", func(*fakeDriver) {}, 10 * time.Second, 7 * 48000, 8 * 48000, false},
		{"some, flagged", func(d *fakeDriver) {
			d.mute.Store(true)
			time.Sleep(10 * BlockLen * time.Second / 48000)
			d.overflow.Store(true)
			d.mute.Store(false)
		}, 0, 10*BlockLen - 1, 10*BlockLen + 1, false},
		{"an unknown few, flagged", func(d *fakeDriver) { d.overflow.Store(true) }, 0, 1, 1, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newFakeDriver(fakeMic("bench", 1))
				r, _ := record(t, d, Input{})
				var pos int64
				b := &Block{}
				next(t, r, b, &pos, -1)
				first := int64(math.Round(float64(b.Samples[0]) * (1 << 20)))
				for pos < 48000 {
					next(t, r, b, &pos, first)
				}
				tt.incident(d)
				time.Sleep(tt.away)
				var lost int64
				for pos < 15*48000 {
					if tt.moved {
						first = -1
					}
					next(t, r, b, &pos, first)
					lost += b.Lost
					if late := time.Since(b.At); tt.away == 0 && late > 0 {
						t.Fatalf("block at %d came %v after the device delivered it", b.Start, late)
					}
				}
				if lost < tt.least || lost > tt.most {
					t.Errorf("%d samples lost, want %d to %d", lost, tt.least, tt.most)
				}
				if err := r.Close(); err != nil {
					t.Error(err)
				}
				d.checkClosed(t)
			})
		})
	}
}

func TestRecordStarts(t *testing.T) {
	for _, tt := range []struct {
		name  string
		setup func(d *fakeDriver)
		in    Input
		rate  int    // Hz, expected
		err   string // expected instead
	}{
		{"at the default rate", func(*fakeDriver) {}, Input{}, 48000, ""},
		{"at the device's own rate", func(d *fakeDriver) { d.rates = []int{44100} }, Input{}, 44100, ""},
		{"at the rate asked for", func(*fakeDriver) {}, Input{Rate: 96000}, 96000, ""},
		{"not at a rate that is not offered", func(d *fakeDriver) { d.rates = []int{44100, 48000} },
			Input{Rate: 96000}, 0, `open input device "bench" at 96000 Hz: invalid sample rate`},
		{"not on a channel that is not there", func(*fakeDriver) {}, Input{Channel: 3}, 0,
			`channel 3 is not there; input device "bench" has 2`},
		{"not without a device", func(d *fakeDriver) { d.list = []Device{{Name: "loudspeaker", MaxOutput: 2}} },
			Input{}, 0, "no microphone found"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newFakeDriver(fakeMic("bench", 2))
				tt.setup(d)
				launchFake(t, d)
				r, err := Record(tt.in)
				if err != nil {
					t.Fatal(err)
				}
				defer d.checkClosed(t)
				defer r.Close()
				o, err := r.Open()
				switch {
				case tt.err != "" && (err == nil || !strings.Contains(err.Error(), tt.err)):
					t.Errorf("open: %v, want %q", err, tt.err)
				case tt.err == "" && (err != nil || o != Opened{"bench", tt.rate}):
					t.Errorf("%+v, %v; want bench, %d Hz", o, err, tt.rate)
				}
			})
		})
	}
}

func TestRecordChannels(t *testing.T) {
	for _, tt := range []struct {
		has, pick, opened int
		offset            float64 // of a sample from that of channel 1
	}{
		{1, 0, 1, 0}, {1, 1, 1, 0}, {2, 0, 2, 0.5}, {2, 2, 2, 1}, {8, 0, 2, 0.5}, {8, 1, 1, 0}, {8, 5, 5, 4},
	} {
		synctest.Test(t, func(t *testing.T) {
			d := newFakeDriver(fakeMic("bench", tt.has))
			r, _ := record(t, d, Input{Channel: tt.pick})
			defer r.Close()
			b := &Block{}
			if err := r.Next(b); err != nil {
				t.Fatal(err)
			}
			if got := d.opened[0].channels; got != tt.opened {
				t.Errorf("channel %d of %d: %d channels opened, want %d", tt.pick, tt.has, got, tt.opened)
			}
			if got := math.Floor(float64(b.Samples[0])*2) / 2; got != tt.offset {
				t.Errorf("channel %d of %d: sample %v, want %v and a little", tt.pick, tt.has, b.Samples[0], tt.offset)
			}
		})
	}
}

func TestListThroughAChild(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newFakeDriver()
		launchFake(t, d)
		if list, err := List(); len(list) != 0 || err != nil {
			t.Errorf("without devices: %v, %v; want none and no error", list, err)
		}
		if HasMicrophone() {
			t.Error("a microphone without devices")
		}
		d.list = []Device{{Name: "loudspeaker", HostAPI: "fake", MaxOutput: 2, DefaultOutput: true, LowLatency: time.Millisecond}}
		list, err := List()
		if err != nil || len(list) != 1 || list[0] != d.list[0] || HasMicrophone() {
			t.Errorf("with a loudspeaker: %+v, %v; want it, and no microphone", list, err)
		}
		d.list = append(d.list, fakeMic("bench", 1))
		if list, err := List(); len(list) != 2 || err != nil || !HasMicrophone() {
			t.Errorf("with a microphone: %+v, %v; want both", list, err)
		}
		d.checkClosed(t)
	})
}

// TestPlayHandsOverAll plays a sound that counts. The device must get all of it in order, between
// silence and silence, and no sample waits in the child for longer than it should.
func TestPlayHandsOverAll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newFakeDriver(Device{Name: "bench", MaxOutput: 6, DefaultRate: 44100})
		d.rates = []int{44100}
		launchFake(t, d)
		p, err := Play("", 48000)
		if err != nil {
			t.Fatal(err)
		}
		if p.Name() != "bench" || p.SampleRate() != 44100 {
			t.Errorf("%q at %d Hz, want bench at 44100 Hz", p.Name(), p.SampleRate())
		}
		time.Sleep(5 * time.Second) // the parent makes its sound
		if len(d.opened) > 0 {
			t.Error("the device runs before there is a sound")
		}
		sent := 0
		err = p.Start(func(samples []float32) {
			for i := range samples {
				sent++
				samples[i] = float32(sent)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(10 * time.Second)
		synctest.Wait()
		d.mu.Lock()
		for i, x := range d.heard {
			if x != float32(i+1) {
				t.Fatalf("frame %d is %v", i, x)
			}
		}
		if n := len(d.heard); n < 9.9*44100 || float64(sent-n) > playAhead*44100 {
			t.Errorf("%d samples heard of %d sent in 10 s", n, sent)
		}
		d.mu.Unlock()
		if d.opened[0] != (format{2, 44100}) {
			t.Errorf("opened %+v, want two channels", d.opened[0])
		}
		if err := p.Start(func([]float32) {}); err == nil {
			t.Error("started twice")
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		d.checkClosed(t)
	})
}

// TestHangingStopIsKilled has the library hang when a stream is to be stopped.
func TestHangingStopIsKilled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newFakeDriver(fakeMic("bench", 1))
		d.hang = make(chan struct{})
		r, _ := record(t, d, Input{})
		begun := time.Now()
		if err := r.Close(); err == nil {
			t.Error("a child that hung has ended by itself")
		}
		if took := time.Since(begun); took > endLimit+reapLimit {
			t.Errorf("close took %v", took)
		}
		close(d.hang)
	})
}

func TestServantRefuses(t *testing.T) {
	for _, tt := range []struct{ sent, says string }{
		{"r\x02\x00\x00\x00{}", `job "" is none of list, record, play`},
		{"r\x01\x00\x00\x00{", "unexpected end of JSON"},
		{"s\x04\x00\x00\x00abcd", `message 's' comes first instead of a request`},
	} {
		var out strings.Builder
		d := newFakeDriver()
		if err := newServant(d, strings.NewReader(tt.sent), &out).serve(); err == nil {
			t.Errorf("%q was served", tt.sent)
		}
		if got := out.String(); !strings.HasPrefix(got, "f") || !strings.Contains(got, tt.says) {
			t.Errorf("%q is answered by %q, want %q", tt.sent, got, tt.says)
		}
		d.checkClosed(t)
	}
}

func TestChoose(t *testing.T) {
	devices := []Device{
		{Name: "Loudspeaker", HostAPI: "ALSA", MaxOutput: 2},
		{Name: "Built-in Mic", HostAPI: "ALSA", MaxInput: 2, index: 1},
		{Name: "Bench", HostAPI: "ALSA", MaxInput: 1, index: 2, DefaultInput: true},
		{Name: "Bench mic", HostAPI: "ALSA", MaxInput: 1, index: 3},
		{Name: "Bench mic", HostAPI: "JACK", MaxInput: 1, index: 4},
		{Name: "Interface 8ch", HostAPI: "JACK", MaxInput: 8, MaxOutput: 8, index: 5},
	}
	for _, tt := range []struct {
		way   direction
		name  string
		index int
		err   string
	}{
		{input, "", 2, ""},
		{input, "Bench", 2, ""}, // exactly, though it is part of others
		{input, "Bench mic", 3, ""},
		{input, "JACK: Bench mic", 4, ""},
		{input, "BENCH M", 3, ""}, // two of one name
		{input, "8CH", 5, ""},
		{input, "mic", 0, `"mic" fits several input devices: "Built-in Mic", "Bench mic"`},
		{input, "Loudspeaker", 0, `no input device named "Loudspeaker"; there are "Built-in Mic", "Bench", "Bench mic", "Interface 8ch"`},
		{output, "", 0, ""}, // the first, where there is no default
		{output, "inter", 5, ""},
		{output, "Bench", 0, `no output device named "Bench"; there are "Loudspeaker", "Interface 8ch"`},
	} {
		d, err := tt.way.choose(devices, tt.name)
		if tt.err != "" {
			if err == nil || err.Error() != tt.err {
				t.Errorf("%s %q: %v, want %s", tt.way.word, tt.name, err, tt.err)
			}
			continue
		}
		if err != nil || d.index != tt.index {
			t.Errorf("%s %q: device %d, %v; want %d", tt.way.word, tt.name, d.index, err, tt.index)
		}
	}
	if _, err := output.choose(devices[1:3], ""); fmt.Sprint(err) != "no loudspeaker found (this computer shows no sound output)" {
		t.Errorf("without an output: %v", err)
	}
}
