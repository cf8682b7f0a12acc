package server

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/coder/websocket"

	"tunerd/internal/bench"
	"tunerd/internal/bench/benchtest"
)

func newMicRig(t *testing.T) *rig {
	t.Helper()
	return newRig(t, "", bench.Settings{}, func(c *Config) { c.Mic = bench.NewMicrophone() })
}

// A page is the other end of the WebSocket.
type page struct {
	conn *websocket.Conn
	at   uint64
}

func (r *rig) page(t *testing.T, hello string) *page {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	conn, _, err := websocket.Dial(ctx, r.url+"/microphone", nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.CloseNow() })
	if err := conn.Write(ctx, websocket.MessageText, []byte(hello)); err != nil {
		t.Fatal(err)
	}
	return &page{conn: conn}
}

func helloOf(rate int) string {
	return fmt.Sprintf(`{"type":"hello","sample_rate":%d,"name":"test"}`, rate)
}

// ready wants the server's answer to hello.
func (p *page) ready(t *testing.T) *page {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	if _, body, err := p.conn.Read(ctx); err != nil || string(body) != `{"type":"ready"}` {
		t.Fatalf("answer to hello: %s, %v", body, err)
	}
	return p
}

func message32(at uint64, sound []float64) []byte {
	b := binary.LittleEndian.AppendUint64(nil, at)
	for _, x := range sound {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
	}
	return b
}

// send sends sound in messages of 1024 samples, as fast as the tuner takes it.
func (p *page) send(t *testing.T, r *rig, sound []float64) {
	t.Helper()
	for block := range slices.Chunk(sound, 1024) {
		want := r.tuner.Stats().Samples + int64(len(block))
		p.write(t, message32(p.at, block))
		p.at += uint64(len(block))
		eventually(t, "the tuner takes a message", func() bool { return r.tuner.Stats().Samples >= want })
	}
}

func (p *page) write(t *testing.T, body []byte) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	if err := p.conn.Write(ctx, websocket.MessageBinary, body); err != nil {
		t.Fatal(err)
	}
}

// closed returns why the server has closed the connection.
func (p *page) closed(t *testing.T) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	for {
		_, _, err := p.conn.Read(ctx)
		if err == nil {
			continue
		}
		if status := websocket.CloseStatus(err); status != websocket.StatusPolicyViolation {
			t.Errorf("closed with %v, want policy violation", err)
		}
		return err.Error()
	}
}

func TestPageAsMicrophone(t *testing.T) {
	r := newMicRig(t)
	s := r.listen(t)
	if hears := benchtest.At(t, s.Until(t, "hello", nil), "session", "input", "hears"); hears != "waiting" {
		t.Errorf("before any page: %v", hears)
	}
	p := r.page(t, helloOf(rigRate)).ready(t)
	p.send(t, r, pluck(441, 1))
	f := s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" && f["t_s"].(float64) > 0.8 })
	// 441 Hz is 1200·log2(441/440) = 3.930 cents above A4.
	benchtest.Near(t, f, 3.930, 0.05, "cents")
	benchtest.Near(t, f, 0, 0, "gaps")
	session := r.session(t)
	if benchtest.At(t, session, "input", "name") != "browser: test" || benchtest.At(t, session, "input", "sample_rate") != float64(rigRate) {
		t.Errorf("input: %v", session["input"])
	}
	if err := p.conn.Close(websocket.StatusNormalClosure, ""); err != nil {
		t.Fatal(err)
	}
	s.Until(t, "notice", func(f map[string]any) bool { return f["event"] == "input lost" })
	if status, body := r.do(t, "GET", "/healthz", ""); status != http.StatusOK {
		t.Errorf("a page may leave, but healthz says %d, %s", status, body)
	}
}

// A number that jumps is a gap, of as many samples as are missing.
func TestMissingSamplesAreAGap(t *testing.T) {
	r := newMicRig(t)
	s := r.listen(t)
	p := r.page(t, helloOf(rigRate)).ready(t)
	p.send(t, r, make([]float64, 4096))
	p.at += rigRate / 2
	p.send(t, r, make([]float64, 4096))
	notice := s.Until(t, "notice", func(f map[string]any) bool { return f["event"] == "gap" })
	benchtest.Near(t, notice, 1, 0, "gaps")
	if message := notice["message"].(string); !strings.HasPrefix(message, "0.5 s of sound lost") {
		t.Errorf("message %q, want half a second", message)
	}
}

// A page that does not begin at 0 has lost nothing.
func TestFirstNumberIsFree(t *testing.T) {
	r := newMicRig(t)
	p := r.page(t, helloOf(rigRate)).ready(t)
	p.at = 123456
	p.send(t, r, make([]float64, 8192))
	benchtest.Near(t, r.session(t), 0, 0, "input", "gaps")
}

func TestLastPageIsHeard(t *testing.T) {
	r := newMicRig(t)
	s := r.listen(t)
	first := r.page(t, helloOf(rigRate)).ready(t)
	first.send(t, r, make([]float64, 4096))
	second := r.page(t, helloOf(rigRate)).ready(t)
	if why := first.closed(t); !strings.Contains(why, "another page has taken over") {
		t.Errorf("the first page is told %q", why)
	}
	second.send(t, r, pluck(440, 0.5))
	f := s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
	benchtest.Near(t, f, 1, 0, "gaps") // the same input goes on behind a gap

	// Another rate is another input, whose time begins anew.
	third := r.page(t, helloOf(44100)).ready(t)
	third.send(t, r, make([]float64, 44100))
	s.Until(t, "session", func(f map[string]any) bool { return benchtest.At(t, f, "input", "sample_rate") == 44100.0 })
	s.Until(t, "frame", func(f map[string]any) bool { return f["gaps"] == 0.0 && f["t_s"].(float64) < 1.1 })
}

func TestWrongPagesAreRefused(t *testing.T) {
	r := newMicRig(t)
	for _, c := range []struct{ hello, says string }{
		{`hello`, "the first message must be"},
		{`{"type":"hi","sample_rate":48000}`, "the first message must be"},
		{`{"type":"hello","sample_rate":7}`, "8000-192000"},
		{`{"type":"hello"}`, "8000-192000"},
	} {
		if why := r.page(t, c.hello).closed(t); !strings.Contains(why, c.says) {
			t.Errorf("hello %s: closed with %q, want %q", c.hello, why, c.says)
		}
	}
	for _, c := range []struct {
		bodies [][]byte
		says   string
	}{
		{[][]byte{{1, 2, 3}}, "a message must be"},
		{[][]byte{message32(0, nil)}, "a message must be"},
		{[][]byte{append(message32(0, []float64{0}), 0)}, "a message must be"},
		{[][]byte{message32(1<<60, []float64{0})}, "2^53"},
		{[][]byte{message32(0, []float64{math.NaN()})}, "finite"},
		{[][]byte{message32(0, []float64{math.Inf(1)})}, "finite"},
		{[][]byte{message32(100, []float64{0, 0}), message32(101, []float64{0})}, "sample 101 comes after sample 102"},
	} {
		p := r.page(t, helloOf(rigRate)).ready(t)
		for _, body := range c.bodies {
			p.write(t, body)
		}
		if why := p.closed(t); !strings.Contains(why, c.says) {
			t.Errorf("%x: closed with %q, want %q", c.bodies, why, c.says)
		}
	}
}

// A message longer than the limit ends the connection (RFC 6455, status 1009).
func TestLongMessagesAreRefused(t *testing.T) {
	r := newMicRig(t)
	p := r.page(t, helloOf(rigRate)).ready(t)
	p.write(t, make([]byte, micMessage+4))
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	if _, _, err := p.conn.Read(ctx); websocket.CloseStatus(err) != websocket.StatusMessageTooBig {
		t.Errorf("closed with %v, want message too big", err)
	}
}

// A page that falls silent without closing is given up.
func TestSilentPageIsLost(t *testing.T) {
	r := newMicRig(t)
	s := r.listen(t)
	p := r.page(t, helloOf(rigRate)).ready(t)
	p.send(t, r, make([]float64, 4096))
	s.Until(t, "notice", func(f map[string]any) bool { return f["event"] == "input lost" })
}

func TestForeignPageHasNoMicrophone(t *testing.T) {
	r := newMicRig(t)
	status, _ := r.do(t, "GET", "/microphone", "", "Origin", "https://evil.example", "Connection", "Upgrade", "Upgrade", "websocket",
		"Sec-WebSocket-Version", "13", "Sec-WebSocket-Key", "dGhlIHNhbXBsZSBub25jZQ==")
	if status != 403 {
		t.Errorf("status %d, want 403", status)
	}
}
