package benchtest

import (
	"math"
	"strings"
	"testing"

	"tunerd/internal/bench"
)

// Strings that pull on each other: once all were heard, frames and strings say what to tune each to now, and the
// strobe is compared with that; who pulls whom can be asked.
func testCoupling(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	if c := r.ask(t, "GET", "/api/coupling", ""); c["coupled"] != false || c["record"] != nil {
		t.Errorf("nobody has asked for it: %v", c)
	}
	s := r.listen(t)
	told := r.ask(t, "PATCH", "/api/session", `{"coupled":true,"support":"floating-bridge"}`)
	if At(t, told, "settings", "coupled") != true || At(t, told, "settings", "support") != "floating-bridge" {
		t.Errorf("settings are %v", told["settings"])
	}
	open := []float64{329.63, 246.94, 196.00, 146.83, 110.00, 82.41} // equal temperament at A4 = 440, to a hundredth
	for i, hz := range open {
		r.play(t, Pluck(hz*math.Exp2(10./1200), 1.2))
		if i == 0 {
			s.Until(t, "strings", func(f map[string]any) bool {
				p, ok := f["pass"].(map[string]any)
				return ok && p["phase"] == "hear all" && At(t, f, "strings", 5, "hear") == true
			})
		}
	}
	rows := s.Until(t, "strings", func(f map[string]any) bool {
		p, ok := f["pass"].(map[string]any)
		return ok && p["phase"] == "turn"
	})
	next := int(At(t, rows, "pass", "next").(float64))
	now := At(t, rows, "strings", next-1, "tune_to_now_hz").(float64)
	cents := At(t, rows, "strings", next-1, "tune_to_now_cents").(float64)
	if hz := At(t, rows, "strings", next-1, "hz").(float64) * math.Exp2(cents/1200); math.Abs(now-hz) > 1e-6*hz || !(cents < 0) {
		t.Errorf("all strings are 10 cents sharp, and string %d is to be tuned to %g cents, %g Hz", next, cents, now)
	}
	r.play(t, Pluck(open[next-1]*math.Exp2(10./1200), 1.2))
	f := s.Until(t, "frame", func(f map[string]any) bool { return sounding(f) && f["tune_to_now_hz"] != nil })
	if f["now_state"] != "sharp" || math.Abs(At(t, f, "bands", 0, "target_hz").(float64)-f["tune_to_now_hz"].(float64)) > 1e-9 {
		t.Errorf("the strobe is compared with %v Hz, to be tuned to now are %v Hz; %v", At(t, f, "bands", 0, "target_hz"), f["tune_to_now_hz"], f["now_state"])
	}
	c := r.ask(t, "GET", "/api/coupling", "")
	if x := At(t, c, "loses_per_100_cents", 1, 0).(float64); c["phase"] != "turn" || !(x > 1 && x < 60) || At(t, c, "record", "forecast", 0, "string") == nil {
		t.Errorf("string 2 loses %v cents of 100 of string 1 in phase %v", x, c["phase"])
	}
	// Another instrument has other strings.
	if told := r.ask(t, "PATCH", "/api/session", `{"instrument":"ukulele-12edo"}`); At(t, told, "settings", "coupled") != false {
		t.Errorf("settings are %v", told["settings"])
	}
	for body, want := range map[string]string{
		`{"coupled":true,"instrument":""}`: "coupled: the strings are an instrument's",
		`{"support":"mattress"}`:           `support \"mattress\" is none of`,
	} {
		if status, answer := r.do(t, "PATCH", "/api/session", body); status != 400 || !strings.Contains(answer, want) {
			t.Errorf("%s: status %d, %s", body, status, answer)
		}
	}
}
