package server

import (
	"fmt"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"tunerd/internal/display"
)

func TestStreamBegins(t *testing.T) {
	r := newRig(t, "", Settings{Instrument: "guitar-12edo"}, nil)
	s := r.listen(t)
	e := s.next()
	if e.name != "hello" {
		t.Fatalf("the first message is %q", e.name)
	}
	hello := e.fields(t)
	session := hello["session"].(map[string]any)
	if hello["instance"] == "" || session["settings"].(map[string]any)["instrument"] != "guitar-12edo" {
		t.Errorf("hello: %s", e.data)
	}
	r.play(t, pluck(82.5, 0.6)) // E2 is 82.407 Hz at A4 = 440
	f := s.until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
	target := f["target"].(map[string]any)
	if target["label"] != "E2" || target["string"] != 6.0 || f["state"] != "sharp" {
		t.Errorf("a string near E2 is shown as %v, %v", target, f["state"])
	}
	if bands := f["bands"].([]any); len(bands) < 4 {
		t.Errorf("%d bands, want at least 4", len(bands))
	}
	rows := s.until(t, "strings", func(f map[string]any) bool { return f["strings"].([]any)[5].(map[string]any)["read"].(bool) })
	if n := len(rows["strings"].([]any)); n != 6 {
		t.Errorf("%d strings, want 6", n)
	}
}

// The ids of messages rise, so that what is latest can be told.
func TestStreamIDs(t *testing.T) {
	r := newRig(t, "", Settings{}, nil)
	s := r.listen(t)
	s.next()
	r.begin(t, pluck(440, 0.5))
	last := 0
	for range 20 {
		e := s.next()
		var n int
		instance, number, _ := strings.Cut(e.id, "-")
		if _, err := fmt.Sscan(number, &n); err != nil || instance != r.tuner.hub.instance || n <= last {
			t.Fatalf("id %q after number %d of %s", e.id, last, r.tuner.hub.instance)
		}
		last = n
	}
}

func TestSeveralClientsSeeTheSame(t *testing.T) {
	r := newRig(t, "", Settings{}, nil)
	var streams []*listener
	for range 5 {
		streams = append(streams, r.listen(t))
	}
	eventually(t, "all streams are open", func() bool { return r.tuner.hub.watching() == 5 })
	r.begin(t, pluck(441, 1))
	sounding := func(f map[string]any) bool { return f["hears"] == "sounding" && f["t_s"].(float64) > 0.9 }
	for _, s := range streams {
		f := s.until(t, "frame", sounding)
		if label := f["target"].(map[string]any)["label"]; label != "A4" {
			t.Errorf("shown as %v, want A4", label)
		}
	}
}

func TestStreamsAreLimited(t *testing.T) {
	r := newRig(t, "", Settings{}, nil)
	for range maxWatchers {
		r.listen(t)
	}
	status, body := r.do(t, "GET", "/stream", "")
	if status != http.StatusServiceUnavailable || !strings.Contains(body, "close one") {
		t.Errorf("one stream more: status %d, %q", status, body)
	}
}

// A client that never reads is dropped, while the tuner and another client go on.
func TestClientThatNeverReads(t *testing.T) {
	r := newRig(t, "", Settings{Instrument: "guitar-12edo"}, nil)
	conn, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.(*net.TCPConn).SetReadBuffer(4096); err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Fprintf(conn, "GET /stream HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the stream is open", func() bool { return r.tuner.hub.watching() == 1 })
	big := []byte(`"` + strings.Repeat("x", 1<<20) + `"`) // more than the system keeps for it
	eventually(t, "it is dropped", func() bool {
		r.tuner.hub.publish(sessionKind, big)
		time.Sleep(10 * time.Millisecond)
		return r.tuner.hub.watching() == 0
	})
	s := r.listen(t)
	r.begin(t, pluck(110, 0.5))
	s.until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
}

// A watcher that fetches nothing holds one message of a kind, and showing frames never waits.
func TestLatestWins(t *testing.T) {
	h := newHub()
	w, err := h.watch()
	if err != nil {
		t.Fatal(err)
	}
	for i := range 1000 {
		if err := h.Show(&display.Frame{TimeS: float64(i), State: display.Silent}); err != nil {
			t.Fatal(err)
		}
	}
	got := string(w.take(nil))
	if n := strings.Count(got, "event: frame"); n != 1 || !strings.Contains(got, `"t_s":999`) {
		t.Errorf("%d frames waited, want the newest alone: %s", n, got)
	}
	if again := w.take(nil); len(again) != 0 {
		t.Errorf("a message came twice: %s", again)
	}
}

// What a left-out frame had to tell comes with the next.
func TestNothingIsLostWithFramesLeftOut(t *testing.T) {
	h := newHub()
	w, err := h.watch()
	if err != nil {
		t.Fatal(err)
	}
	show := func(f display.Frame) string {
		t.Helper()
		f.State = display.Sounding
		if err := h.Show(&f); err != nil {
			t.Fatal(err)
		}
		return string(w.take(nil))
	}
	show(display.Frame{TimeS: 0})
	if got := show(display.Frame{TimeS: 0.001}); got != "" {
		t.Errorf("more than %d frames a second: %s", frameHz, got)
	}
	if got := show(display.Frame{TimeS: 0.002, Message: "hello", AfterGap: true, Gaps: 1}); !strings.Contains(got, `"event":"gap"`) || !strings.Contains(got, `"message":"hello"`) {
		t.Errorf("a gap was not told at once: %s", got)
	}
	h.held.NewOnset = true
	if got := show(display.Frame{TimeS: 1}); !strings.Contains(got, `"new_note":true`) {
		t.Errorf("a new note was lost: %s", got)
	}
}

func TestPace(t *testing.T) {
	p := pace{periodS: 1.0 / 60}
	count := 0
	const hop = 512.0 / 48000
	for i := range 9375 { // 100 s of readings
		if p.due(float64(i) * hop) {
			count++
		}
	}
	if count < 5990 || count > 6010 {
		t.Errorf("%d frames in 100 s, want 6000", count)
	}
	if !p.due(0) || p.due(hop) || !p.due(2*hop) {
		t.Error("time that begins anew is not followed")
	}
}

// A client finds the server again after a restart at the same address, and sees that it is another.
func TestReconnectAfterRestart(t *testing.T) {
	first := newRig(t, "", Settings{}, nil)
	s := first.listen(t)
	before := s.until(t, "hello", nil)["instance"]
	first.stop()
	for s.next() != nil { // the stream ends, rather than hang
	}
	second := newRig(t, strings.TrimPrefix(first.url, "http://"), Settings{}, nil)
	s = second.listen(t)
	if after := s.until(t, "hello", nil)["instance"]; after == before {
		t.Errorf("instance %v, as before the restart", after)
	}
	second.begin(t, pluck(440, 0.5))
	s.until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
}

func TestLostInputIsTold(t *testing.T) {
	r := newRig(t, "", Settings{}, nil)
	s := r.listen(t)
	r.play(t, pluck(440, 0.3))
	r.feed.Break()
	lost := s.until(t, "notice", func(f map[string]any) bool { return f["event"] == "input lost" })
	if lost["hears"] != "input lost" || lost["message"] == "" {
		t.Errorf("notice: %v", lost)
	}
	r.at = 0 // the pusher counts anew
	r.play(t, pluck(440, 0.3))
	s.until(t, "frame", func(f map[string]any) bool { return f["after_gap"] == true && f["gaps"] == 1.0 })
}

func TestAliveWithoutInput(t *testing.T) {
	r := newRig(t, "", Settings{}, nil)
	r.listen(t).until(t, "alive", nil)
}
