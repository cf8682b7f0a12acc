package benchtest

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"tunerd/internal/bench"
	"tunerd/internal/capture"
	"tunerd/internal/display/figure"
	"tunerd/internal/journal"
	"tunerd/internal/setup/report"
	"tunerd/internal/setup/report/html"
	"tunerd/internal/setup/report/pdf"
	"tunerd/internal/sound"
)

// Patience is how long tests wait for what must come.
const Patience = 20 * time.Second

// Rate is that of what tests play, in Hz.
const Rate = 48000

// A Client speaks to a bench, in whatever way. Ask gives a body the type that it must have; the answer to a request
// that could not be made is status 0 and why.
type Client interface {
	Ask(ctx context.Context, r *bench.Request) bench.Answer
	Follow(ctx context.Context, tell func(bench.Message) error) error
}

// A rig is a bench whose tuner listens to a feed.
type rig struct {
	Client
	shop  *workshop
	tuner *bench.Tuner
	feed  *capture.Feed
	at    int64 // samples pushed
	stop  func()
}

// A workshop makes rigs, and keeps in mind what was answered.
type workshop struct {
	connect Connect

	mu       sync.Mutex
	answered map[string]bool // patterns, as "GET /api/session"
}

// options are what some rigs have besides.
type options struct {
	journal *journal.Journal
	keep    bench.Keep
}

func (w *workshop) rig(t *testing.T, s bench.Settings, o options) *rig {
	t.Helper()
	catalog := bench.NewCatalog()
	tuner, err := bench.NewTuner(bench.TunerConfig{Catalog: catalog, Settings: s, Keep: o.keep})
	if err != nil {
		t.Fatal(err)
	}
	cfg := bench.Config{Tuner: tuner, Catalog: catalog, Version: "test", Reports: []bench.ReportFile{
		{Name: "report.html", Type: "text/html; charset=utf-8", Write: html.Write},
		{Name: "report.pdf", Type: "application/pdf", Write: func(w io.Writer, r *report.Report) error {
			return pdf.Write(w, r, figure.Paper{Name: "a4", Width: 210, Height: 297}) // ISO 216
		}},
	}}
	if o.journal != nil {
		cfg.Journal = func(use func(*journal.Journal) error) error { return use(o.journal) }
	}
	feed, err := capture.NewFeed("rig", Rate)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r := &rig{shop: w, Client: w.connect(t, bench.New(cfg), tuner), tuner: tuner, feed: feed}
	ended := make(chan error, 1)
	go func() { ended <- tuner.Run(ctx, feed) }()
	r.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(r.stop)
	return r
}

// Play pushes sound, from sample number at on, in messages of 512 samples, as fast as the tuner takes it, and returns
// the number of the next sample.
func Play(tuner *bench.Tuner, feed *capture.Feed, at int64, sound []float64) (int64, error) {
	for block := range slices.Chunk(sound, 512) {
		samples := make([]float32, len(block))
		for i, x := range block {
			samples[i] = float32(x)
		}
		want := tuner.Stats().Samples + int64(len(block))
		if err := feed.Push(at, samples); err != nil {
			return at, err
		}
		at += int64(len(block))
		for end := time.Now().Add(Patience); tuner.Stats().Samples < want; time.Sleep(200 * time.Microsecond) {
			if time.Now().After(end) {
				return at, errors.New("the tuner does not take a block")
			}
		}
	}
	return at, nil
}

func (r *rig) push(sound []float64) (err error) {
	r.at, err = Play(r.tuner, r.feed, r.at, sound)
	return err
}

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

// Pluck is a string of so many seconds, after a tenth of a second of silence.
func Pluck(hz, seconds float64) []float64 {
	rng := rand.New(rand.NewPCG(1, uint64(hz)))
	s := make([]float64, int((seconds+0.1)*Rate))
	spec := sound.String(hz)
	spec.AddTo(s, Rate/10, Rate, rng)
	for i := range s {
		s[i] = 0.2*s[i] + 1e-5*rng.NormFloat64()
	}
	return s
}

// Eventually waits until something is.
func Eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(Patience); !is(); time.Sleep(200 * time.Microsecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %v until %s", Patience, what)
		}
	}
}

// do makes a request and returns its status and body. What is refused must be so by the description.
func (r *rig) do(t *testing.T, method, path, body string) (int, string) {
	t.Helper()
	a := r.request(t, method, path, body)
	if a.Status == 0 {
		t.Fatalf("%s %s: %s", method, path, a.Body)
	}
	doc := readDescription(t)
	if a.Status == http.StatusOK {
		name, _, _ := strings.Cut(path, "?")
		r.shop.mu.Lock()
		r.shop.answered[method+" "+doc.pattern(name)] = true
		r.shop.mu.Unlock()
	} else {
		var v any
		if err := json.Unmarshal(a.Body, &v); err != nil || a.Type != "application/json" {
			t.Errorf("%s %s: %v in %s %q", method, path, err, a.Type, a.Body)
		}
		for _, wrong := range doc.check(schema{Ref: "#/components/schemas/Error"}, v, "error") {
			t.Errorf("%s %s: %s", method, path, wrong)
		}
	}
	return a.Status, string(a.Body)
}

func (r *rig) request(t *testing.T, method, path, body string) bench.Answer {
	t.Helper()
	path, query, _ := strings.Cut(path, "?")
	values, err := url.ParseQuery(query)
	if err != nil {
		t.Fatal(err)
	}
	return r.Ask(t.Context(), &bench.Request{Method: method, Path: path, Query: values, Body: []byte(body)})
}

// ask makes a request that must be answered, checks question and answer against the description, and returns the answer.
func (r *rig) ask(t *testing.T, method, path, body string) map[string]any {
	t.Helper()
	status, got := r.do(t, method, path, body)
	if status != http.StatusOK {
		t.Fatalf("%s %s: status %d, %s", method, path, status, got)
	}
	var v map[string]any
	if err := json.Unmarshal([]byte(got), &v); err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	doc := readDescription(t)
	pattern, _, _ := strings.Cut(path, "?")
	pattern = doc.pattern(pattern)
	op, ok := doc.Paths[pattern][strings.ToLower(method)]
	if !ok {
		t.Fatalf("%s %s is not described", method, path)
	}
	for _, wrong := range doc.check(op.Responses["200"].Content["application/json"].Schema, v, "answer") {
		t.Errorf("%s %s: %s", method, path, wrong)
	}
	if body != "" {
		var given any
		if err := json.Unmarshal([]byte(body), &given); err != nil {
			t.Fatal(err)
		}
		for _, wrong := range doc.check(op.RequestBody.Content["application/json"].Schema, given, "body") {
			t.Errorf("%s %s: %s", method, path, wrong)
		}
	}
	return v
}

// At follows names and places into JSON: At(t, v, "strings", 0, "hz").
func At(t *testing.T, v any, path ...any) any {
	t.Helper()
	for _, step := range path {
		switch step := step.(type) {
		case string:
			m, ok := v.(map[string]any)
			if !ok {
				t.Fatalf("%v: no object at %v", path, step)
			}
			v = m[step]
		case int:
			list, ok := v.([]any)
			if !ok || step >= len(list) {
				t.Fatalf("%v: no place %v", path, step)
			}
			v = list[step]
		}
	}
	return v
}

// Near wants the number at a path to be want but for rounding, or as much as tolerance beside it.
func Near(t *testing.T, v any, want, tolerance float64, path ...any) {
	t.Helper()
	got, ok := At(t, v, path...).(float64)
	if !ok || math.Abs(got-want) > tolerance {
		t.Errorf("%v is %v, want %g within %g", path, At(t, v, path...), want, tolerance)
	}
}

// Fields returns the JSON of a message.
func Fields(t *testing.T, m *bench.Message) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal(m.Data, &v); err != nil {
		t.Fatalf("%s: %v in %s", m.Event, err, m.Data)
	}
	return v
}

// maxTold is more than any test is told before it looks.
const maxTold = 1 << 14

// A Listener takes what is told, message by message, also while nobody looks.
type Listener struct {
	told  chan bench.Message
	leave func()
}

// Listen follows until the test ends, or leave is called. It comes back when the first message has come.
func Listen(t *testing.T, c Client) *Listener {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	l := &Listener{told: make(chan bench.Message, maxTold)}
	ended, begun := make(chan struct{}), make(chan struct{})
	begin := sync.OnceFunc(func() { close(begun) })
	go func() {
		defer begin()
		defer close(ended)
		defer close(l.told)
		_ = c.Follow(ctx, func(m bench.Message) error {
			defer begin()
			m.Data = slices.Clone(m.Data)
			select {
			case l.told <- m:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}()
	l.leave = func() {
		stop()
		<-ended
	}
	t.Cleanup(l.leave)
	<-begun // what happens from now on is told
	return l
}

func (r *rig) listen(t *testing.T) *Listener { return Listen(t, r) }

// Next returns the next message, nil at the end, or when none comes.
func (l *Listener) Next() *bench.Message {
	select {
	case m, ok := <-l.told:
		if ok {
			return &m
		}
	case <-time.After(Patience):
	}
	return nil
}

// Until returns the first message of that name which is wanted.
func (l *Listener) Until(t *testing.T, event string, wanted func(map[string]any) bool) map[string]any {
	t.Helper()
	for end := time.Now().Add(Patience); time.Now().Before(end); {
		m := l.Next()
		if m == nil {
			break
		}
		if m.Event != event {
			continue
		}
		if f := Fields(t, m); wanted == nil || wanted(f) {
			return f
		}
	}
	t.Fatalf("the %s that was waited for did not come", event)
	return nil
}
