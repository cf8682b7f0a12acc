package server

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"sync"
	"testing"
	"testing/fstest"

	"tunerd/internal/bench"
	"tunerd/internal/bench/benchtest"
	"tunerd/internal/capture"
)

// patience is how long tests wait for what must come.
const patience = benchtest.Patience

const rigRate = benchtest.Rate // Hz

var testPage = fstest.MapFS{
	"index.html": {Data: []byte("<!doctype html><title>page</title>")},
	"js/main.js": {Data: []byte("export {};")},
}

// A rig is a server with a tuner that listens to a feed, or to pages if the server has a
// Microphone.
type rig struct {
	client
	tuner *bench.Tuner
	feed  *capture.Feed
	at    int64 // samples pushed

	stop    func()
	stopped chan error
}

// newRig serves on address ("" takes a free port) until the test ends.
func newRig(t *testing.T, address string, s bench.Settings, change func(*Config)) *rig {
	t.Helper()
	catalog := bench.NewCatalog()
	tuner, err := bench.NewTuner(bench.TunerConfig{Catalog: catalog, Settings: s})
	if err != nil {
		t.Fatal(err)
	}
	cfg := Config{Tuner: tuner, Page: testPage, Guard: Guard{Loopback: true}}
	if change != nil {
		change(&cfg)
	}
	cfg.Bench = bench.New(bench.Config{Tuner: tuner, Catalog: catalog, Version: "test", Guarded: cfg.Guard.Token != ""})
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
	r := &rig{client: client{url: "http://" + l.Addr().String()}, tuner: tuner, feed: feed, stopped: make(chan error, 2)}
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

func (r *rig) push(sound []float64) (err error) {
	r.at, err = benchtest.Play(r.tuner, r.feed, r.at, sound)
	return err
}

func pluck(hz, seconds float64) []float64 { return benchtest.Pluck(hz, seconds) }

func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	benchtest.Eventually(t, what, is)
}

func (r *rig) listen(t *testing.T) *benchtest.Listener {
	t.Helper()
	return benchtest.Listen(t, r)
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
	res, err := r.send(t.Context(), method, path, []byte(body), header...)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// session asks for the session.
func (r *rig) session(t *testing.T) map[string]any {
	t.Helper()
	var v map[string]any
	if status, body := r.do(t, "GET", "/api/session", ""); status != http.StatusOK || json.Unmarshal([]byte(body), &v) != nil {
		t.Fatalf("status %d, %s", status, body)
	}
	return v
}
