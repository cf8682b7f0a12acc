package server

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"tunerd/internal/capture"
	"tunerd/internal/sound"
)

// patience is how long tests wait for what must come.
const patience = 20 * time.Second

const rigRate = 48000 // Hz

var testPage = fstest.MapFS{
	"index.html": {Data: []byte("<!doctype html><title>page</title>")},
	"js/main.js": {Data: []byte("export {};")},
}

// A rig is a server with a tuner that listens to a feed, or to pages if the server has a
// Microphone.
type rig struct {
	tuner *Tuner
	feed  *capture.Feed
	url   string
	http  http.RoundTripper // nil: the usual one
	at    int64             // samples pushed

	stop    func()
	stopped chan error
}

// newRig serves on address ("" takes a free port) until the test ends.
func newRig(t *testing.T, address string, s Settings, change func(*Config)) *rig {
	t.Helper()
	cfg := Config{Catalog: NewCatalog(), Page: testPage, Guard: Guard{Loopback: true}, Version: "test"}
	tuner, err := NewTuner(TunerConfig{Catalog: cfg.Catalog, Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	cfg.Tuner = tuner
	if change != nil {
		change(&cfg)
	}
	srv, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	feed, err := capture.NewFeed("rig", rigRate)
	if err != nil {
		t.Fatal(err)
	}
	if address == "" {
		address = "127.0.0.1:0"
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r := &rig{tuner: tuner, feed: feed, url: "http://" + l.Addr().String(), stopped: make(chan error, 2)}
	go func() {
		if cfg.Mic != nil {
			r.stopped <- cfg.Mic.Run(ctx, tuner)
			return
		}
		r.stopped <- tuner.Run(ctx, feed)
	}()
	go func() { r.stopped <- srv.Serve(ctx, l) }()
	done := false
	r.stop = func() {
		if done {
			return
		}
		done = true
		cancel()
		for range 2 {
			if err := <-r.stopped; err != nil {
				t.Error(err)
			}
		}
	}
	t.Cleanup(r.stop)
	return r
}

// play pushes sound in messages of 512 samples, as fast as the tuner takes it.
func (r *rig) play(t *testing.T, sound []float64) {
	t.Helper()
	if err := r.push(sound); err != nil {
		t.Fatal(err)
	}
}

// begin plays in the background; the test waits for it.
func (r *rig) begin(t *testing.T, sound []float64) {
	var playing sync.WaitGroup
	t.Cleanup(playing.Wait)
	playing.Go(func() {
		if err := r.push(sound); err != nil {
			t.Error(err)
		}
	})
}

func (r *rig) push(sound []float64) error {
	for block := range slices.Chunk(sound, 512) {
		samples := make([]float32, len(block))
		for i, x := range block {
			samples[i] = float32(x)
		}
		want := r.tuner.taken() + int64(len(block))
		if err := r.feed.Push(r.at, samples); err != nil {
			return err
		}
		r.at += int64(len(block))
		for end := time.Now().Add(patience); r.tuner.taken() < want; time.Sleep(200 * time.Microsecond) {
			if time.Now().After(end) {
				return errors.New("the tuner does not take a block")
			}
		}
	}
	return nil
}

func (t *Tuner) taken() int64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.counts().Samples
}

// pluck is a string of so many seconds, after a tenth of a second of silence.
func pluck(hz, seconds float64) []float64 {
	rng := rand.New(rand.NewPCG(1, uint64(hz)))
	s := make([]float64, int((seconds+0.1)*rigRate))
	spec := sound.String(hz)
	spec.AddTo(s, rigRate/10, rigRate, rng)
	for i := range s {
		s[i] = 0.2*s[i] + 1e-5*rng.NormFloat64()
	}
	return s
}

func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !is(); time.Sleep(200 * time.Microsecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %v until %s", patience, what)
		}
	}
}

// do makes a request and returns its status and body.
func (r *rig) do(t *testing.T, method, path, body string, header ...string) (int, string) {
	t.Helper()
	res := r.request(t, method, path, body, header...)
	defer res.Body.Close()
	got, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(got)
}

func (r *rig) request(t *testing.T, method, path, body string, header ...string) *http.Response {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, r.url+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			req.Host = header[i+1]
		}
		req.Header.Set(header[i], header[i+1])
	}
	client := http.Client{Transport: r.http, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// An event is one message of the stream.
type event struct {
	id, name string
	data     []byte
}

// fields returns the JSON of the message.
func (e *event) fields(t *testing.T) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal(e.data, &v); err != nil {
		t.Fatalf("%s: %v in %s", e.name, err, e.data)
	}
	return v
}

// A listener reads the stream, by the rules of WHATWG HTML, section 9.2.6, as far as they matter.
type listener struct {
	body  io.ReadCloser
	lines *bufio.Scanner
}

func (r *rig) listen(t *testing.T) *listener {
	t.Helper()
	res := r.request(t, "GET", "/stream", "")
	if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("stream: %s, %s", res.Status, res.Header.Get("Content-Type"))
	}
	late := time.AfterFunc(patience, func() { res.Body.Close() }) // ends a read that waits for ever
	t.Cleanup(func() {
		late.Stop()
		res.Body.Close()
	})
	lines := bufio.NewScanner(res.Body)
	lines.Buffer(nil, 1<<20)
	return &listener{res.Body, lines}
}

// next returns the next message, nil at the end.
func (l *listener) next() *event {
	e := &event{}
	for l.lines.Scan() {
		field, value, _ := bytes.Cut(l.lines.Bytes(), []byte(": "))
		switch string(field) {
		case "id":
			e.id = string(value)
		case "event":
			e.name = string(value)
		case "data":
			e.data = slices.Clone(value)
		case "":
			return e
		}
	}
	return nil
}

// until returns the first message of that name which is wanted.
func (l *listener) until(t *testing.T, name string, wanted func(map[string]any) bool) map[string]any {
	t.Helper()
	for e := l.next(); e != nil; e = l.next() {
		if e.name != name {
			continue
		}
		if f := e.fields(t); wanted == nil || wanted(f) {
			return f
		}
	}
	t.Fatalf("the stream ended before the %s that was waited for", name)
	return nil
}
