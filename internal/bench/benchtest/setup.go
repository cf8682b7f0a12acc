package benchtest

import (
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"tunerd/internal/bench"
)

// A check of one string that is in tune throughout is led to its end by plucks of the notes asked for, and
// moves nothing. Two of them are played wrong first: another pitch, and too short.
func testGuidedCheck(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	if status, text := r.do(t, "POST", "/api/setup/action", `{"action":"skip"}`); status != http.StatusConflict {
		t.Errorf("an action without a check: status %d, %s", status, text)
	}
	Eventually(t, "input", func() bool { return r.ask(t, "GET", "/api/setup", "")["hears"] == true })
	state := r.ask(t, "POST", "/api/setup", `{"notes":5,"strings":[6],"plucks":1}`)
	if status, text := r.do(t, "GET", "/api/setup/result", ""); status != http.StatusConflict {
		t.Errorf("a result of nothing: status %d, %s", status, text)
	}
	prompted := func() float64 {
		p, ok := r.ask(t, "GET", "/api/setup", "")["prompt"].(map[string]any)
		if !ok {
			return math.NaN()
		}
		return p["hz"].(float64)
	}
	first := At(t, state, "prompt", "hz").(float64)
	r.playUntil(t, Pluck(first*1.035, 2.6), "refused as a wrong note", func() bool {
		return strings.Contains(r.ask(t, "GET", "/api/setup", "")["said"].(string), "cents")
	})
	Near(t, r.ask(t, "GET", "/api/setup", ""), 0, 0, "done")
	for range 20 {
		hz := prompted()
		if math.IsNaN(hz) {
			break
		}
		r.playTo(t, append(Pluck(hz, 2.6), make([]float64, Rate/2)...))
	}
	if hz := prompted(); !math.IsNaN(hz) {
		t.Fatalf("after 20 notes %g Hz is still asked for", hz)
	}
	result := r.ask(t, "GET", "/api/setup/result", "")
	for _, end := range []string{"nut_mm", "saddle_mm"} {
		move, sigma := At(t, result, "result", "strings", 0, "move", end).(float64), At(t, result, "result", "strings", 0, "move_sigma", end).(float64)
		if math.Abs(move) > 3*sigma {
			t.Errorf("%s is to be moved by %g ± %g, want none", end, move, sigma)
		}
	}
	for name, begins := range map[string]string{"report.html": "<!doctype html>", "report.pdf": "%PDF", "check.json": "{", "report.csv": "string,"} {
		status, body := r.do(t, "GET", "/api/setup/files/"+name, "")
		if status != http.StatusOK || !strings.HasPrefix(strings.ToLower(body), strings.ToLower(begins)) {
			t.Errorf("%s: status %d, it begins %.40q", name, status, body)
		}
	}
	if state := r.ask(t, "DELETE", "/api/setup", ""); state["active"] != false {
		t.Errorf("after the end: %v", state)
	}
}

// playAt plays at so many times the speed of the sound: who listens along is never waited for, and misses what
// comes faster than it can be heard.
func (r *rig) playAt(t *testing.T, sound []float64, speed time.Duration) {
	t.Helper()
	const part = Rate / 20
	tick := time.NewTicker(time.Second / 20 / speed)
	defer tick.Stop()
	for block := range slices.Chunk(sound, part) {
		r.play(t, block)
		<-tick.C
	}
}

// playUntil plays a note until something has come of it; a machine that is too busy to hear it hears it
// again, slower.
func (r *rig) playUntil(t *testing.T, sound []float64, what string, is func() bool) {
	t.Helper()
	for _, speed := range []time.Duration{4, 2, 1, 1} {
		r.playAt(t, sound, speed)
		for end := time.Now().Add(2 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
			if is() {
				return
			}
		}
	}
	t.Fatalf("not %s: %v", what, r.ask(t, "GET", "/api/setup", "")["said"])
}

// playTo plays a note until the check takes it.
func (r *rig) playTo(t *testing.T, sound []float64) {
	t.Helper()
	done := func() float64 { return r.ask(t, "GET", "/api/setup", "")["done"].(float64) }
	before := done()
	r.playUntil(t, sound, "taken", func() bool { return done() > before })
}

// The keys of a check: what is accepted must have been heard, and skipping goes on to the next note, and back again.
func testCheckObeys(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	Eventually(t, "there is an input", func() bool { return r.ask(t, "GET", "/api/setup", "")["hears"] == true })
	state := r.ask(t, "POST", "/api/setup", `{"notes":5,"strings":[6]}`)
	first := At(t, state, "prompt", "index")
	for _, c := range []struct{ action, code string }{{"accept", "too_early"}, {"dance", "invalid"}} {
		if _, text := r.do(t, "POST", "/api/setup/action", `{"action":"`+c.action+`"}`); !strings.Contains(text, `"`+c.code+`"`) {
			t.Errorf("%s: %s", c.action, text)
		}
	}
	if state = r.ask(t, "POST", "/api/setup/action", `{"action":"skip"}`); At(t, state, "prompt", "index") == first || At(t, state, "entries", 0, "state") != "skipped" {
		t.Errorf("after skip: %v", state["prompt"])
	}
	if state = r.ask(t, "POST", "/api/setup/action", `{"action":"back"}`); At(t, state, "prompt", "index") != first {
		t.Errorf("after back: %v", state["prompt"])
	}
	r.ask(t, "POST", "/api/setup/action", `{"action":"redo"}`)
	if state = r.ask(t, "DELETE", "/api/setup", ""); state["active"] != false {
		t.Errorf("after the end: %v", state)
	}
}

func testCheckIsRefused(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	for body, names := range map[string]string{
		`{}`:                           "no instrument",
		`{"plucks":-1}`:                "pluck",
		`{"goal_cents":0,"strange":1}`: "strange",
	} {
		if status, text := r.do(t, "POST", "/api/setup", body); status != http.StatusBadRequest || !strings.Contains(text, names) {
			t.Errorf("POST %s: status %d, %s", body, status, text)
		}
	}
	// What cannot be checked is known before it is tried: a violin has no frets.
	for instrument, why := range map[string]string{"": "no instrument is chosen", "violin": "Violin has no frets", "guitar-12edo": ""} {
		session := r.ask(t, "PATCH", "/api/session", `{"instrument":"`+instrument+`"}`)
		if said := At(t, session, "no_check").(string); !strings.HasPrefix(said, why) || why == "" && said != "" {
			t.Errorf("%q: no_check is %q, want %q", instrument, said, why)
		}
	}
	if status, text := r.do(t, "GET", "/api/setup/files/passwords", ""); status != http.StatusNotFound {
		t.Errorf("a file that is none: status %d, %s", status, text)
	}
}

// Another instrument does not take a check away unasked.
func testInstrumentIsNotChangedUnderACheck(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	Eventually(t, "there is an input", func() bool { return r.ask(t, "GET", "/api/setup", "")["hears"] == true })
	r.ask(t, "POST", "/api/setup", `{}`)
	status, body := r.do(t, "PATCH", "/api/session", `{"instrument":"violin"}`)
	if status != http.StatusConflict || !strings.Contains(body, `"check"`) || !strings.Contains(body, "0 of ") {
		t.Errorf("status %d, %s", status, body)
	}
	r.ask(t, "PATCH", "/api/session", `{"tuning":"19edo"}`) // the check keeps its board
	if r.ask(t, "GET", "/api/setup", "")["active"] != true {
		t.Error("the check has ended")
	}
	r.ask(t, "PATCH", "/api/session", `{"instrument":"violin","end_check":true}`)
	if r.ask(t, "GET", "/api/setup", "")["active"] != false {
		t.Error("the check of the old instrument goes on")
	}
}
