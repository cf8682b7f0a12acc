package benchtest

import (
	"net/http"
	"strings"
	"testing"

	"tunerd/internal/bench"
)

// cautions returns those of an answer, and checks that they have no line breaks of their own.
func cautions(t *testing.T, answer map[string]any) string {
	t.Helper()
	var all []string
	for _, c := range At(t, answer, "cautions").([]any) {
		if strings.ContainsAny(c.(string), "\r\n") {
			t.Errorf("%q has a line break", c)
		}
		all = append(all, c.(string))
	}
	return strings.Join(all, "\n")
}

// The E4 of a 648 mm guitar bears 53.7 % of what breaks 0.254 mm of music wire (ASTM A228); at A4=600 that is
// 53.7·(600/440)² = 99.9 %, and 100 cents more are 53.7·2^(1/6) = 60.3 %.
func testTargetsAboveTheirOwnPitchAreCautioned(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	if got := cautions(t, r.ask(t, "PATCH", "/api/session", `{"instrument":"guitar-12edo"}`)); got != "" {
		t.Errorf("the guitar as it is: %q", got)
	}
	for _, c := range []struct{ patch, want string }{
		{`{"plan":{"name":"up","cents":[100,0,0,0,0,0]}}`, "string 1 (E4) rises by 100.00 cents: 81.5 N, 60.3% of its breaking limit (before: 72.6 N, 53.7%)"},
		{`{"plan":null,"reference":"A4=442"}`, "caution: raises strings 1 to 6; "},
		{`{"reference":"","tuning":"31edo"}`, "caution: raises strings 3, 4; "},
		{`{"string":4}`, "caution: raises strings 3, 4; "}, // a held string changes no target
	} {
		if got := cautions(t, r.ask(t, "PATCH", "/api/session", c.patch)); !strings.Contains(got, c.want) || !strings.Contains(got, "eye protection") {
			t.Errorf("%s: %q", c.patch, got)
		}
	}
	if got := cautions(t, r.ask(t, "PATCH", "/api/session", `{"tuning":"","reference":"A4=415"}`)); got != "" {
		t.Errorf("lower: %q", got)
	}
}

func testTargetsBeyondTheLimitAreRefused(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	refused := func(method, path, body string) {
		t.Helper()
		status, answer := r.do(t, method, path, body)
		if status != http.StatusBadRequest || !strings.Contains(answer, `"code":"risk"`) || !strings.Contains(answer, "of its breaking limit; targets go up to 75%\"") {
			t.Errorf("%s: status %d, %s", body, status, answer)
		}
	}
	refused("PATCH", "/api/session", `{"reference":"A4=600"}`)
	refused("PATCH", "/api/session", `{"reference":"A4=600","string":6}`) // string 1 is a target again when 6 is let go
	refused("PATCH", "/api/session", `{"plan":{"name":"","cents":[600,0,0,0,0,0]}}`)
	refused("PUT", "/api/session", `{"instrument":"guitar-12edo","tuning":"","reference":"A4=600","string":0,"frets":false,"all_strings":false,"tolerance_cents":0.5,"plan":null}`)
	if At(t, r.ask(t, "GET", "/api/session", ""), "settings", "reference") != "" {
		t.Error("what was refused is in force")
	}
	// Accepted, it stays so for these targets, and no others.
	a := r.ask(t, "PATCH", "/api/session", `{"reference":"A4=600","accept_risk":true}`)
	if got := cautions(t, a); !strings.HasPrefix(got, "caution: puts string 1 beyond 75% of the breaking limit, raises strings 2 to 6; ") {
		t.Errorf("%q", got)
	}
	r.ask(t, "PATCH", "/api/session", `{"string":1,"reference":"A4=600"}`)
	refused("PATCH", "/api/session", `{"reference":"A4=610"}`)
	refused("PATCH", "/api/session", `{"plan":{"name":"","cents":[1,0,0,0,0,0]}}`)
	// What tunes nothing refuses nothing.
	r.ask(t, "POST", "/api/beats", `{"instrument":"guitar-12edo","reference":"A4=600","notes":[{"string":6},{"string":5}]}`)
}

// At A4=535 the E4 bears 53.7·(535/440)² = 79 %, and making the fourth below it pure raises it by 2 cents.
func testDetuneRefusesNoLessThanTheSession(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	const body = `{"instrument":"guitar-12edo","reference":"A4=535","anchor":2,"common":"","others":["x x x x 1 0 as 3:4"],"chords":["x x x x 0 0 as 3:4"]`
	status, answer := r.do(t, "POST", "/api/detune", body+`}`)
	if status != http.StatusBadRequest || !strings.Contains(answer, `"code":"risk"`) || strings.Contains(answer, "cents_before") {
		t.Errorf("status %d, %s", status, answer)
	}
	a := r.ask(t, "POST", "/api/detune", body+`,"accept_risk":true,"explore":true}`)
	if got := cautions(t, a); !strings.Contains(got, "caution: puts string 1 beyond 75%") {
		t.Errorf("%q", got)
	}
	for i := range At(t, a, "trade").([]any) {
		if i > 0 && At(t, a, "trade", i, "caution") == "" {
			t.Errorf("plan %d raises strings without a word", i)
		}
	}
	Near(t, a, 0, 0, "trade_left_out")
}
