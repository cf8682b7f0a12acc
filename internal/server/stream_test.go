package server

import (
	"fmt"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"tunerd/internal/bench"
)

// A client that never reads is dropped, while the tuner and another client go on.
func TestClientThatNeverReads(t *testing.T) {
	r := newRig(t, "", bench.Settings{Instrument: "guitar-12edo"}, nil)
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
	eventually(t, "the stream is open", func() bool { return r.tuner.Stats().Followers == 1 })
	tolerance := 1.0
	eventually(t, "it is dropped", func() bool { // when more was sent than the system keeps for it
		for range 20 {
			tolerance = 3 - tolerance
			if err := r.tuner.Change(func(s *bench.Settings) error { s.ToleranceCents = tolerance; return nil }); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Millisecond) // or it would be sent the newest alone
		}
		return r.tuner.Stats().Followers == 0
	})
	s := r.listen(t)
	r.begin(t, pluck(110, 0.5))
	s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
}

// A client finds the server again after a restart at the same address, and sees that it is another.
func TestReconnectAfterRestart(t *testing.T) {
	first := newRig(t, "", bench.Settings{}, nil)
	s := first.listen(t)
	before := s.Until(t, "hello", nil)["instance"]
	first.stop()
	for s.Next() != nil { // the stream ends, rather than hang
	}
	second := newRig(t, strings.TrimPrefix(first.url, "http://"), bench.Settings{}, nil)
	s = second.listen(t)
	if after := s.Until(t, "hello", nil)["instance"]; after == before {
		t.Errorf("instance %v, as before the restart", after)
	}
	second.begin(t, pluck(440, 0.5))
	s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
}

// One stream too many is refused with the time to try again, and is no stream.
func TestOneStreamTooMany(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, nil)
	for range 16 {
		r.listen(t)
	}
	eventually(t, "all are open", func() bool { return r.tuner.Stats().Followers == 16 })
	res := r.request(t, "GET", "/stream", "")
	res.Body.Close()
	if res.StatusCode != http.StatusServiceUnavailable || res.Header.Get("Retry-After") == "" || res.Header.Get("Content-Type") == "text/event-stream" {
		t.Errorf("status %s, headers %v", res.Status, res.Header)
	}
}
