package command

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"syscall"
	"testing"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/device"
)

// quietDeps is a world without sound devices, terminal and files.
func quietDeps() Deps {
	return Deps{
		Open: func(_ context.Context, spec string, _ capture.Options) (capture.Source, error) {
			return nil, fmt.Errorf("open %s: no such file or directory", spec)
		},
		Devices:       func() ([]device.Device, error) { return nil, nil },
		HasMicrophone: func() bool { return false },
		ScreenUsable:  func() bool { return false },
		ErrTerminal:   func() bool { return false },
	}
}

// run runs the program and returns what it wrote and its exit status.
func run(t *testing.T, d Deps, args ...string) (out, chat string, status int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	root := NewRoot(d)
	root.SetArgs(args)
	root.SetOut(&stdout)
	root.SetErr(&stderr)
	status = Report(&stderr, root.ExecuteContext(t.Context()))
	return stdout.String(), stderr.String(), status
}

func TestReport(t *testing.T) {
	failed := errors.New("a.wav: data chunk\nends early")
	for _, c := range []struct {
		err    error
		text   string
		status int
	}{
		{nil, "", 0},
		{failed, "tunerd: error: a.wav: data chunk ends early\n", 1},
		{usagef("bad %s", "flag"), "tunerd: error: bad flag\n", 2},
		{hintf(usageError{failed}, "do %s", "this"), "tunerd: error: a.wav: data chunk ends early\ntunerd: hint: do this\n", 2},
		{fmt.Errorf("listen: %w", context.Canceled), "", 0},
		{fmt.Errorf("write: %w", syscall.EPIPE), "", 0},
		{errReported, "", 1},
	} {
		var b bytes.Buffer
		if status := Report(&b, c.err); status != c.status || b.String() != c.text {
			t.Errorf("Report(%v) = %d, %q; want %d, %q", c.err, status, b.String(), c.status, c.text)
		}
	}
}

var twoDevices = []device.Device{
	{Name: "Bench mic", HostAPI: "ALSA", MaxInput: 1, DefaultRate: 44100, LowLatency: 8707 * time.Microsecond, HighLatency: 35 * time.Millisecond, DefaultInput: true},
	{Name: "Monitors", HostAPI: "ALSA", MaxOutput: 2, DefaultRate: 48000},
}

func TestDevicesTable(t *testing.T) {
	d := quietDeps()
	d.Devices = func() ([]device.Device, error) { return twoDevices, nil }
	out, chat, status := run(t, d, "devices")
	want := `NAME       SYSTEM  IN  OUT  RATE      LATENCY   DEFAULT
Bench mic  ALSA    1   0    44100 Hz  9ms-35ms  input
Monitors   ALSA    0   2    48000 Hz  0s-0s     -
`
	if out != want || chat != "" || status != 0 {
		t.Errorf("status %d, stderr %q, stdout\n%s\nwant\n%s", status, chat, out, want)
	}
}

func TestDevicesJSON(t *testing.T) {
	d := quietDeps()
	d.Devices = func() ([]device.Device, error) { return twoDevices, nil }
	out, _, _ := run(t, d, "devices", "--json")
	var first map[string]any
	if err := json.NewDecoder(strings.NewReader(out)).Decode(&first); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]any{"type": "device", "name": "Bench mic", "input_channels": 1.0, "default_input": true, "low_latency_s": 0.008707} {
		if first[name] != want {
			t.Errorf("%s is %v, want %v", name, first[name], want)
		}
	}
	if n := strings.Count(out, "\n"); n != 2 {
		t.Errorf("%d lines, want one for each of 2 devices", n)
	}
}

func TestDevicesCSV(t *testing.T) {
	d := quietDeps()
	d.Devices = func() ([]device.Device, error) { return twoDevices, nil }
	out, _, _ := run(t, d, "devices", "--csv")
	want := `name,system,input_channels,output_channels,sample_rate_hz,low_latency_s,high_latency_s,default_input,default_output
Bench mic,ALSA,1,0,44100,0.008707,0.035,yes,no
Monitors,ALSA,0,2,48000,0,0,no,no
`
	if out != want {
		t.Errorf("%s, want\n%s", out, want)
	}
	if _, _, status := run(t, d, "devices", "--csv", "--json"); status != 2 {
		t.Errorf("--csv with --json ends with status %d, want 2", status)
	}
}

func TestNoDevicesIsSaidAndNoError(t *testing.T) {
	out, chat, status := run(t, quietDeps(), "devices")
	if out != "" || status != 0 || !strings.Contains(chat, "no sound devices") {
		t.Errorf("status %d, stdout %q, stderr %q", status, out, chat)
	}
}

func TestDevicesWithoutMicrophoneSupport(t *testing.T) {
	d := quietDeps()
	d.Devices = func() ([]device.Device, error) { return nil, errors.New("built without microphone") }
	_, chat, status := run(t, d, "devices")
	if status != 1 || chat != "tunerd: error: built without microphone\n" {
		t.Errorf("status %d, stderr %q", status, chat)
	}
}

// What listen opens when it is told little, and how.
func TestListenChoosesItsInput(t *testing.T) {
	for _, c := range []struct {
		args       []string
		microphone bool
		spec       string
		paced      bool
		said       string
	}{
		{nil, true, "mic", true, ""},
		{nil, false, "demo", true, "no microphone found: this is the built-in demo"},
		{[]string{"listen"}, false, "demo", true, "no microphone found"},
		{[]string{"--json"}, false, "demo", true, "no microphone found"},
		{[]string{"--input", "demo"}, true, "demo", true, ""},
		{[]string{"--input", "mic:Bench"}, false, "mic:Bench", true, ""},
		{[]string{"--input", "a.wav"}, true, "a.wav", true, ""},
		{[]string{"--input", "a.wav", "--json"}, true, "a.wav", false, ""},
		{[]string{"--input", "-"}, true, "-", false, ""},
	} {
		t.Run(strings.Join(c.args, " "), func(t *testing.T) {
			d := quietDeps()
			d.HasMicrophone = func() bool { return c.microphone }
			var spec string
			var options capture.Options
			stop := errors.New("that was all")
			d.Open = func(_ context.Context, s string, o capture.Options) (capture.Source, error) {
				spec, options = s, o
				return nil, stop
			}
			_, chat, status := run(t, d, c.args...)
			if spec != c.spec || options.Paced != c.paced || status != 1 {
				t.Errorf("opened %q, paced %v, status %d; want %q, paced %v, status 1", spec, options.Paced, status, c.spec, c.paced)
			}
			if !strings.Contains(chat, c.said) || c.said == "" && strings.Count(chat, "\n") > 2 {
				t.Errorf("stderr %q, want %q in it and little else", chat, c.said)
			}
		})
	}
}

func TestSourceFlagsReachTheSource(t *testing.T) {
	d := quietDeps()
	var got capture.Options
	d.Open = func(_ context.Context, _ string, o capture.Options) (capture.Source, error) {
		got = o
		return nil, io.ErrUnexpectedEOF
	}
	run(t, d, "listen", "--input", "-", "--channel", "2", "--rate", "44100", "--raw", "f32le", "--raw-channels", "3")
	want := capture.Options{Channel: 2, SampleRate: 44100, Raw: "f32le", Channels: 3}
	got.Log = nil
	if got != want {
		t.Errorf("options %+v, want %+v", got, want)
	}
}

// An endless source is silent until the user has had enough.
type endless struct{ cancel func() }

func (e *endless) Name() string    { return "endless" }
func (e *endless) SampleRate() int { return 48000 }
func (e *endless) Live() bool      { return true }
func (e *endless) Close() error    { return nil }
func (e *endless) Read(ctx context.Context, _ []float64) (capture.Block, error) {
	e.cancel()
	<-ctx.Done()
	return capture.Block{}, ctx.Err()
}

// To end listen is its normal end; a measurement that is broken off is not done.
func TestInterruption(t *testing.T) {
	for _, c := range []struct {
		args   []string
		status int
		said   string
	}{
		{[]string{"listen", "--input", "x"}, 0, ""},
		{[]string{"measure", "x", "y"}, 1, "tunerd: error: interrupted; not all was measured\n"},
	} {
		ctx, cancel := context.WithCancel(t.Context())
		d := quietDeps()
		d.Open = func(context.Context, string, capture.Options) (capture.Source, error) {
			return &endless{cancel}, nil
		}
		var out, chat bytes.Buffer
		root := NewRoot(d)
		root.SetArgs(c.args)
		root.SetOut(&out)
		root.SetErr(&chat)
		status := Report(&chat, root.ExecuteContext(ctx))
		if status != c.status || chat.String() != c.said || out.Len() > 0 {
			t.Errorf("%v: status %d, stderr %q, stdout %q; want status %d, stderr %q", c.args, status, chat.String(), out.String(), c.status, c.said)
		}
	}
}

func TestWindowFlag(t *testing.T) {
	for _, c := range []struct {
		text string
		want [2]float64
		ok   bool
	}{
		{"0.3..2", [2]float64{0.3, 2}, true},
		{"0..1.5", [2]float64{0, 1.5}, true},
		{"2..1", [2]float64{}, false},
		{"1..1", [2]float64{}, false},
		{"-1..2", [2]float64{}, false},
		{"1", [2]float64{}, false},
		{"a..b", [2]float64{}, false},
		{"NaN..2", [2]float64{}, false},
		{"0..Inf", [2]float64{}, false},
	} {
		var w windowFlag
		err := w.Set(c.text)
		if (err == nil) != c.ok || w.seconds != c.want {
			t.Errorf("Set(%q) = %v, %v; want %v, ok %v", c.text, w.seconds, err, c.want, c.ok)
		}
	}
}

// A dumb terminal is a fixed picture of what was drawn; the bar must leave nothing behind.
func TestProgressBarClearsItsLine(t *testing.T) {
	var both bytes.Buffer
	bar := &progressBar{w: &both, fraction: func() float64 { return 0.5 }, stop: make(chan struct{})}
	bar.draw()
	if !strings.Contains(both.String(), " 50 %") {
		t.Errorf("drawn %q, want 50 %%", both.String())
	}
	drawn := both.Len()
	fmt.Fprintln(bar.over(&both), "result")
	after := both.String()[drawn:]
	if want := "\r" + strings.Repeat(" ", drawn-1) + "\rresult\n"; after != want {
		t.Errorf("after the bar came %q, want %q", after, want)
	}
	bar.end()
	if !strings.HasSuffix(both.String(), "result\n") {
		t.Errorf("a bar that is not shown was cleared again: %q", both.String())
	}
}
