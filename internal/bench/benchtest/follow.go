package benchtest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"tunerd/internal/bench"
)

func sounding(f map[string]any) bool { return f["hears"] == "sounding" }

func testFollowBegins(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	s := r.listen(t)
	e := s.Next()
	if e == nil || e.Event != "hello" {
		t.Fatalf("the first message is %v", e)
	}
	hello := Fields(t, e)
	if hello["instance"] == "" || At(t, hello, "session", "settings", "instrument") != "guitar-12edo" {
		t.Errorf("hello: %s", e.Data)
	}
	r.play(t, Pluck(82.5, 0.6)) // E2 is 82.407 Hz at A4 = 440
	f := s.Until(t, "frame", sounding)
	if At(t, f, "target", "label") != "E2" || At(t, f, "target", "string") != 6.0 || f["state"] != "sharp" {
		t.Errorf("a string near E2 is shown as %v, %v", f["target"], f["state"])
	}
	if bands := f["bands"].([]any); len(bands) < 4 {
		t.Errorf("%d bands, want at least 4", len(bands))
	}
	rows := s.Until(t, "strings", func(f map[string]any) bool { return At(t, f, "strings", 5, "read") == true })
	if n := len(rows["strings"].([]any)); n != 6 {
		t.Errorf("%d strings, want 6", n)
	}
}

// The ids of messages rise, so that what is latest can be told.
func testIDsRise(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	s := r.listen(t)
	run := Fields(t, s.Next())["instance"]
	r.begin(t, Pluck(440, 0.5))
	last := 0
	for range 20 {
		m := s.Next()
		if m == nil {
			t.Fatal("the messages end")
		}
		var n int
		instance, number, _ := strings.Cut(m.ID, "-")
		if _, err := fmt.Sscan(number, &n); err != nil || instance != run || n <= last {
			t.Fatalf("id %q after number %d of %v", m.ID, last, run)
		}
		last = n
	}
}

func testFollowersSeeTheSame(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	var all []*Listener
	for range 5 {
		all = append(all, r.listen(t))
	}
	Eventually(t, "all follow", func() bool { return r.tuner.Stats().Followers == 5 })
	r.begin(t, Pluck(441, 1))
	for _, s := range all {
		f := s.Until(t, "frame", func(f map[string]any) bool { return sounding(f) && f["t_s"].(float64) > 0.9 })
		if At(t, f, "target", "label") != "A4" {
			t.Errorf("shown as %v, want A4", f["target"])
		}
	}
}

// One follower more than there may be is turned away, and let in when another has left.
func testFollowersAreLimited(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	var all []*Listener
	for range 16 {
		all = append(all, r.listen(t))
	}
	Eventually(t, "all follow", func() bool { return r.tuner.Stats().Followers == 16 })
	err := r.Follow(t.Context(), func(bench.Message) error { return errors.New("let in") })
	if refused := bench.RefusalOf(err); refused.Status != 503 || !strings.Contains(refused.Text, "close one") {
		t.Errorf("one follower more: %v", err)
	}
	all[0].leave()
	Eventually(t, "one has left", func() bool { return r.tuner.Stats().Followers == 15 })
	r.listen(t).Until(t, "hello", nil)
}

// A follower that takes its time finds the newest message of a kind, and not all before it. Between it and a bench may
// lie buffers, so it sleeps for as long as they take to fill.
func testSlowFollowerHasTheNewest(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	wake, ended := make(chan struct{}), make(chan error, 1)
	var revisions []float64
	go func() {
		ended <- r.Follow(ctx, func(m bench.Message) error {
			if m.Event != "session" {
				return nil
			}
			<-wake
			revisions = append(revisions, Fields(t, &m)["revision"].(float64))
			if At(t, Fields(t, &m), "settings", "tolerance_cents") == 7.0 {
				return context.Canceled
			}
			return nil
		})
	}()
	Eventually(t, "it follows", func() bool { return r.tuner.Stats().Followers == 1 })
	Eventually(t, "the input has begun", func() bool { // which is told too, at no revision of its own
		return At(t, r.ask(t, "GET", "/api/session", ""), "input", "name") == "rig"
	})
	const many = 400
	for i := range many {
		r.change(t, func(s *bench.Settings) { s.ToleranceCents = 1 + float64(i%2) })
	}
	r.change(t, func(s *bench.Settings) { s.ToleranceCents = 7 })
	close(wake)
	select {
	case <-ended:
	case <-time.After(Patience):
		t.Fatal("the newest settings never came")
	}
	for i := 1; i < len(revisions); i++ {
		if revisions[i] <= revisions[i-1] {
			t.Errorf("revision %v after %v", revisions[i], revisions[i-1])
		}
	}
}

// change changes settings without a request.
func (r *rig) change(t *testing.T, change func(*bench.Settings)) {
	t.Helper()
	if err := r.tuner.Change(func(s *bench.Settings) error { change(s); return nil }); err != nil {
		t.Fatal(err)
	}
}

// Two views change different settings at once, over and over, while sound goes on: none undoes what the other has set,
// and both are told the same in the end.
func testSettingsCross(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	left, right := r.listen(t), r.listen(t)
	first := At(t, r.ask(t, "GET", "/api/session", ""), "revision").(float64)
	r.begin(t, Pluck(110, 2))
	const each = 25
	var views sync.WaitGroup
	patch := func(body func(i int) string) {
		views.Go(func() {
			for i := range each {
				if a := r.request(t, "PATCH", "/api/session", body(i)); a.Status != 200 {
					t.Errorf("status %d, %s", a.Status, a.Body)
				}
			}
		})
	}
	patch(func(i int) string { return fmt.Sprintf(`{"reference":"A4=%d"}`, 436+i%5) }) // 24 % 5 = 4 comes last
	patch(func(i int) string { return fmt.Sprintf(`{"string":%d}`, i%6) })             // 24 % 6 = 0
	patch(func(i int) string { return fmt.Sprintf(`{"tolerance_cents":%d}`, 1+i%7) })  // 24 % 7 = 3
	views.Wait()
	now := r.ask(t, "GET", "/api/session", "")
	if At(t, now, "settings", "reference") != "A4=440" || At(t, now, "settings", "string") != 0.0 || At(t, now, "settings", "tolerance_cents") != 4.0 {
		t.Errorf("in the end: %v", now["settings"])
	}
	Near(t, now, first+3*each, 0, "revision")
	for _, s := range []*Listener{left, right} {
		told := s.Until(t, "session", func(f map[string]any) bool { return f["revision"] == first+3*each })
		if mustJSON(t, told["settings"]) != mustJSON(t, now["settings"]) {
			t.Errorf("told %v, want %v", told["settings"], now["settings"])
		}
	}
}

func testLostInputIsTold(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	s := r.listen(t)
	r.play(t, Pluck(440, 0.3))
	r.feed.Break()
	lost := s.Until(t, "notice", func(f map[string]any) bool { return f["event"] == "input lost" })
	if lost["hears"] != "input lost" || lost["message"] == "" {
		t.Errorf("notice: %v", lost)
	}
	r.at = 0 // the pusher counts anew
	r.play(t, Pluck(440, 0.3))
	back := s.Until(t, "notice", func(f map[string]any) bool { return f["event"] != "input lost" })
	if back["event"] != "input back" || back["gaps"] != 1.0 {
		t.Errorf("notice: %v, want the input back, after one gap", back)
	}
	s.Until(t, "frame", func(f map[string]any) bool { return f["after_gap"] == true && f["gaps"] == 1.0 })
}

func testAliveWithoutInput(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	r.listen(t).Until(t, "alive", nil)
}
