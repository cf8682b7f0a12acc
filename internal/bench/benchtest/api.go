package benchtest

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"

	"tunerd/internal/bench"
)

func testSession(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	s := r.listen(t)
	session := r.ask(t, "GET", "/api/session", "")
	// E4 in 12 equal steps at A4 = 440 Hz (ISO 16): 440·2^(-5/12) = 329.6276 Hz.
	Near(t, session, 329.6276, 1e-4, "strings", 0, "hz")
	first := At(t, session, "revision").(float64)

	session = r.ask(t, "PATCH", "/api/session", `{"reference":"A4=442","string":1}`)
	Near(t, session, 331.1259, 1e-4, "strings", 0, "hz") // 442·2^(-5/12)
	Near(t, session, 1, 0, "settings", "string")
	Near(t, session, first+1, 0, "revision")
	told := s.Until(t, "session", nil)
	for told["revision"] != first+1 {
		told = s.Until(t, "session", nil)
	}

	session = r.ask(t, "PUT", "/api/session", `{"instrument":"","tuning":"31edo","reference":"","string":0,"frets":false,"all_strings":false,"tolerance_cents":1,"plan":null}`)
	if At(t, session, "instrument") != nil || At(t, session, "tuning", "spec") != "31edo" || len(At(t, session, "strings").([]any)) != 0 {
		t.Errorf("31edo without an instrument: %v", session)
	}
	Near(t, session, 1, 0, "settings", "tolerance_cents")
	Near(t, session, 440, 0, "reference", "hz")
}

// Going from one instrument to another lets go of what was the old one's.
func testPatchOfInstrument(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo", String: 6, Frets: true, Plan: &bench.Plan{Name: "p", Cents: []float64{0, 0, 0, 0, 0, 2}}}, options{})
	session := r.ask(t, "PATCH", "/api/session", `{"instrument":"violin"}`)
	if At(t, session, "settings", "string") != 0.0 || At(t, session, "settings", "plan") != nil || At(t, session, "settings", "frets") != true {
		t.Errorf("settings: %v", session["settings"])
	}
	session = r.ask(t, "PATCH", "/api/session", `{"instrument":""}`)
	if At(t, session, "settings", "frets") != false {
		t.Errorf("settings: %v", session["settings"])
	}
}

// A plan moves the targets: two cents up make 82.407 Hz 82.407·2^(2/1200) = 82.5021 Hz.
func testPlanMovesTargets(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	session := r.ask(t, "PATCH", "/api/session", `{"plan":{"name":"two up","cents":[0,0,0,0,0,2]},"string":6}`)
	Near(t, session, 82.5021, 1e-4, "strings", 5, "hz")
	s := r.listen(t)
	r.play(t, Pluck(82.4069, 1))
	f := s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" && f["t_s"].(float64) > 0.7 })
	Near(t, f, -2, 0.3, "cents")
	r.play(t, make([]float64, Rate))
	r.ask(t, "PATCH", "/api/session", `{"string":5}`) // holding another string keeps the readings
	r.play(t, make([]float64, Rate/2))
	rows := s.Until(t, "strings", func(f map[string]any) bool { return f["held"] == 5.0 })
	Near(t, rows, -2, 0.3, "strings", 5, "cents")
	session = r.ask(t, "PATCH", "/api/session", `{"plan":null,"string":6}`)
	Near(t, session, 82.4069, 1e-4, "strings", 5, "hz")
	Near(t, session, 6, 0, "settings", "string")
}

// All strings are read at once on demand: a fourth of 12 equal steps, one string 5 cents sharp.
func testAllStrings(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo", String: 5}, options{})
	s := r.listen(t)
	session := r.ask(t, "PATCH", "/api/session", `{"all_strings":true}`)
	Near(t, session, 0, 0, "settings", "string")
	chord := Pluck(110*math.Exp2(5.0/1200), 3) // A2, string 5
	for i, x := range Pluck(146.8324, 3) {     // D3, string 4
		chord[i] += x
	}
	r.play(t, chord)
	rows := s.Until(t, "strings", func(f map[string]any) bool {
		return f["all_strings"] == true && At(t, f, "strings", 4, "active") == true && At(t, f, "strings", 3, "active") == true && f["t_s"].(float64) > 1.5
	})
	Near(t, rows, 5, 0.5, "strings", 4, "cents")
	Near(t, rows, 0, 0.5, "strings", 3, "cents")
	if got := At(t, rows, "strings", 4, "state"); got != "sharp" {
		t.Errorf("string 5 is %v, want sharp", got)
	}
	frame := s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" && f["all_strings"] == true })
	if frame["target"] != nil || frame["f1_hz"] != nil || frame["state"] != nil {
		t.Errorf("a frame of all strings has a pitch: %v", frame)
	}
	session = r.ask(t, "PATCH", "/api/session", `{"string":4}`)
	if At(t, session, "settings", "all_strings") != false {
		t.Error("one string is held, and all are read")
	}
	r.play(t, Pluck(146.9, 1))
	frame = s.Until(t, "frame", func(f map[string]any) bool { return f["target"] != nil })
	Near(t, frame, 4, 0, "target", "string")
	Near(t, frame, 0, 0, "gaps")
}

// The input goes on while the settings change: no gap, and time runs on.
func testSettingsChangeWhileSounding(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	s := r.listen(t)
	r.begin(t, Pluck(440, 3))
	before := s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
	r.ask(t, "PATCH", "/api/session", `{"tuning":"19edo","reference":"C4=264"}`)
	// The nearest notes of 19edo at C4 = 264: step 14 is 264·2^(14/19) = 439.96 Hz.
	after := s.Until(t, "frame", func(f map[string]any) bool { return f["target"] != nil && At(t, f, "target", "step") == 14.0 })
	Near(t, after, 264*math.Exp2(14.0/19), 1e-6, "target", "hz")
	if after["t_s"].(float64) <= before["t_s"].(float64) || after["gaps"] != 0.0 {
		t.Errorf("after the change: %v s with %v gaps, before it %v s", after["t_s"], after["gaps"], before["t_s"])
	}
}

// E4 is held, A2 sounds: the stream says which string it seems to be until somebody confirms that it
// is the held one.
func testConfirmTheHeldString(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo", String: 1}, options{})
	s := r.listen(t)
	r.begin(t, Pluck(110, 4))
	f := s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
	if f["standing"] != "doubted" || f["state"] != "other string" || At(t, f, "seems", "string") != 5.0 || len(f["bands"].([]any)) != 0 {
		t.Errorf("A2 with E4 held: %v", f)
	}
	r.ask(t, "POST", "/api/session/confirm", "{}")
	f = s.Until(t, "frame", func(f map[string]any) bool { return f["standing"] == "confirmed" })
	if f["state"] != "flat" || f["seems"] != nil || len(f["bands"].([]any)) == 0 {
		t.Errorf("confirmed: %v", f)
	}
}

func testClearForgetsReadings(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	s := r.listen(t)
	read := func(f map[string]any) bool { return At(t, f, "strings", 5, "read") == true }
	r.play(t, append(Pluck(82.41, 0.5), make([]float64, Rate)...))
	s.Until(t, "strings", read)
	r.ask(t, "POST", "/api/session/clear", "{}")
	r.begin(t, make([]float64, Rate))
	s.Until(t, "strings", func(f map[string]any) bool { return !read(f) })
}

func testRefusals(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	for _, c := range []struct {
		method, path, body string
		status             int
		says               string
	}{
		{"POST", "/api/session/confirm", "{}", 400, "no string is held"},
		{"PATCH", "/api/session", `{"instrument":"lute"}`, 400, `no instrument "lute"; it is one of`},
		{"PATCH", "/api/session", `{"instrument":"../../etc/passwd"}`, 400, "no instrument"},
		{"PATCH", "/api/session", `{"instrument":"/tmp/mine.toml"}`, 400, "no instrument"},
		{"PATCH", "/api/session", `{"tuning":"/etc/mine.toml"}`, 400, "files are not opened"},
		{"PATCH", "/api/session", `{"tuning":"mine.CSV"}`, 400, "files are not opened"},
		{"PATCH", "/api/session", `{"tuning":"12tet"}`, 400, "unknown"},
		{"PATCH", "/api/session", `{"reference":"A4"}`, 400, "write a note or step"},
		{"PATCH", "/api/session", `{"string":7}`, 400, "strings 1 to 6"},
		{"PATCH", "/api/session", `{"string":-1}`, 400, "strings 1 to 6"},
		{"PATCH", "/api/session", `{"string":"one"}`, 400, "cannot be read"},
		{"PATCH", "/api/session", `{"tolerance_cents":1e9}`, 400, "tolerance"},
		{"PATCH", "/api/session", `{"tolerance_cents":-1}`, 400, "tolerance"},
		{"PATCH", "/api/session", `{"plan":{"name":"x","cents":[1]}}`, 400, "plan"},
		{"PATCH", "/api/session", `{"plan":{"name":"x","cents":[1e9,0,0,0,0,0]}}`, 400, "plan"},
		{"PATCH", "/api/session", `{"plan":{"name":"` + strings.Repeat("ä", 121) + `","cents":[0,0,0,0,0,0]}}`, 400, "up to 120"},
		{"PATCH", "/api/session", `{"plan":{"name":"a\u202eb","cents":[0,0,0,0,0,0]}}`, 400, "on one line"},
		{"PATCH", "/api/session", `{"speed":3}`, 400, "speed"},
		{"PATCH", "/api/session", `{"all_strings":true,"string":3}`, 400, "string 0"},
		{"PATCH", "/api/session", `{"instrument":"","all_strings":true}`, 400, "name one"},
		{"PATCH", "/api/session", `{`, 400, "cannot be read"},
		{"PATCH", "/api/session", `{} {}`, 400, "goes on"},
		{"DELETE", "/api/session", ``, 404, "openapi.json"},
		{"GET", "/api/nothing", ``, 404, "openapi.json"},
		{"GET", "/api/instruments/lute/board", ``, 404, "no instrument"},
		{"GET", "/api/instruments/..%2f..%2fetc/board", ``, 404, "no instrument"},
		{"GET", "/api/instruments/violin/board?tuning=x.toml", ``, 400, "files are not opened"},
		{"GET", "/api/instruments/guitar-12edo/shapes?chord=4:5:6:7:8:9:10", ``, 400, "as many strings"},
		{"GET", "/api/instruments/guitar-12edo/shapes?span_mm=1e9", ``, 400, "span_mm"},
		{"GET", "/api/instruments/guitar-12edo/shapes?span_mm=NaN", ``, 400, "span_mm"},
		{"GET", "/api/instruments/guitar-12edo/shapes?most=0", ``, 400, "most"},
		{"GET", "/api/tuning?spec=mine.json", ``, 400, "files are not opened"},
		{"GET", "/api/tuning?spec=12edo&spec=31edo", ``, 400, "given 2 times"},
		{"GET", "/api/tuning?limits=3", ``, 400, `"limits" is no parameter here; there are spec, reference, limit`},
		{"GET", "/api/compare", ``, 400, "give 1 to 50"},
		{"GET", "/api/compare?spec=a.csv", ``, 400, "files are not opened"},
		{"GET", "/api/compare?spec=12edo&chords=4", ``, 400, "chord"},
		{"GET", "/api/divisions?range=5..99999999", ``, 400, "range"},
		{"GET", "/api/divisions?by=luck", ``, 400, "by:"},
		{"POST", "/api/detune", `{"instrument":"guitar-12edo","chords":[]}`, 400, "no chord"},
		{"POST", "/api/detune", `{"instrument":"guitar-12edo","chords":["1 2 3"]}`, 400, ""},
		{"POST", "/api/detune", `{"instrument":"guitar-12edo","chords":["320003 as 4:5:6:8:10:12"],"limits":[{"string":9,"down":1,"up":1}]}`, 400, "string 9"},
		{"POST", "/api/detune", `{"instrument":"x.toml","chords":["320003 as 4:5:6:8:10:12"]}`, 400, "no instrument"},
		{"POST", "/api/beats", `{"notes":[{"hz":440}]}`, 400, "2 to 16"},
		{"POST", "/api/beats", `{"notes":[{"hz":440},{"string":1}]}`, 400, "name the instrument"},
		{"POST", "/api/beats", `{"notes":[{"hz":440},{"hz":-1}]}`, 400, "note 2"},
		{"POST", "/api/beats", `{"notes":[{"hz":440},{"hz":550}],"chord":"4:5:6"}`, 400, "give one for each"},
	} {
		status, body := r.do(t, c.method, c.path, c.body)
		var e struct{ Error, Code string }
		if err := json.Unmarshal([]byte(body), &e); err != nil || e.Error == "" || strings.Contains(e.Error, "\n") {
			t.Errorf("%s %s: %q is no error in one line", c.method, c.path, body)
		}
		if status != c.status || !strings.Contains(e.Error, c.says) {
			t.Errorf("%s %s %.60s: status %d, %s; want %d with %q", c.method, c.path, c.body, status, e.Error, c.status, c.says)
		}
	}
	// Nothing of it has changed anything.
	Near(t, r.ask(t, "GET", "/api/session", ""), 1, 0, "revision")
}

func testInstruments(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	list := r.ask(t, "GET", "/api/instruments", "")
	for _, in := range At(t, list, "instruments").([]any) {
		id := At(t, in, "id").(string)
		b := r.ask(t, "GET", "/api/instruments/"+id+"/board", "")
		if n := len(At(t, b, "strings").([]any)); float64(n) != At(t, in, "strings") {
			t.Errorf("%s: %d strings on the board, %v in the list", id, n, At(t, in, "strings"))
		}
	}
}

func testBoard(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	b := r.ask(t, "GET", "/api/instruments/guitar-12edo/board", "")
	// The twelfth fret is an octave and halves the string; fret 1 lies 1/17.817 of the scale from
	// the nut (the workshop rule): 648/17.817 = 36.37 mm.
	Near(t, b, 1200, 1e-9, "strings", 0, "frets", 11, "cents")
	Near(t, b, 324, 1e-9, "strings", 0, "frets", 11, "nut_mm")
	Near(t, b, 36.37, 0.005, "strings", 0, "frets", 0, "nut_mm")
	if At(t, b, "strings", 0, "frets", 11, "above_open", "ratio") != "2/1" || At(t, b, "strings", 0, "frets", 6, "above_open", "ratio") != "3/2" {
		t.Error("frets 12 and 7 are not an octave and a fifth")
	}
	// A fifth of 700 cents is 1.955 cents narrow of 3/2.
	Near(t, b, -1.955, 5e-4, "strings", 0, "frets", 6, "above_open", "off_cents")
	// The open low E lies 2900 cents below A4.
	Near(t, b, -2900, 1e-6, "strings", 5, "above_reference", "cents")
	moved := r.ask(t, "GET", "/api/instruments/guitar-12edo/board?reference=A4=432", "")
	Near(t, moved, 432*math.Exp2(-5.0/12), 1e-6, "strings", 0, "hz")
}

// In another tuning a board has the frets that the instrument has, and says how far they are off it, or those that the
// tuning would have. 31 equal steps of the octave have the octave at fret 31, where it halves the string, and fret 1 at
// L·(1 − 2^(−1/31)). Frets of 12 equal steps lie half a step off at worst: six of them are 15.5 steps of 31.
func testFretsAreLaidAnewIfAsked(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	const board = "/api/instruments/guitar-12edo/board"
	own := r.ask(t, "GET", board+"?tuning=31edo", "")
	Near(t, own, 324, 1e-9, "strings", 0, "frets", 11, "nut_mm")
	Near(t, own, 600.0/31, 1e-6, "frets_off_cents")
	anew := r.ask(t, "GET", board+"?tuning=31edo&refret=true", "")
	Near(t, anew, 324, 1e-9, "strings", 0, "frets", 30, "nut_mm")
	Near(t, anew, 648*(1-math.Exp2(-1.0/31)), 1e-9, "strings", 0, "frets", 0, "nut_mm")
	Near(t, anew, 0, 1e-6, "frets_off_cents")
	// The worst of 4:5:6 on frets of 31edo is its 6/5 of 315.641 cents, 5.964 more than 8 steps; on frets of 12edo it is 15.6.
	shapes := r.ask(t, "GET", "/api/instruments/guitar-12edo/shapes?chord=4:5:6&most=1&tuning=31edo&refret=true", "")
	if worst := At(t, shapes, "shapes", 0, "worst_cents").(float64); math.Abs(worst-5.96) > 0.01 {
		t.Errorf("4:5:6 on frets of 31edo is %g cents off at worst, want 5.96", worst)
	}
	if a := r.request(t, "GET", board+"?refret=yes", ""); a.Status != 400 || !strings.Contains(string(a.Body), "neither true nor false") {
		t.Errorf("refret=yes: %d, %s", a.Status, a.Body)
	}
}

func testShapes(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	a := r.ask(t, "GET", "/api/instruments/guitar-41edo-alternate/shapes?chord=4:5:6:7&most=3", "")
	// 41edo has 5/4 at 13 steps, 380.49 cents, 5.83 below 386.31; 3/2 at 24 steps, 0.48 above.
	Near(t, a, -5.826, 1e-3, "shapes", 0, "pairs", 0, "cents")
	Near(t, a, 0.484, 1e-3, "shapes", 0, "pairs", 1, "cents")
	if total := At(t, a, "total").(float64); total < 3 || len(At(t, a, "shapes").([]any)) != 3 {
		t.Errorf("%v shapes, of which %d are shown", total, len(At(t, a, "shapes").([]any)))
	}
}

func testTunings(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	list := r.ask(t, "GET", "/api/tunings", "")
	for _, tuning := range At(t, list, "tunings").([]any) {
		spec := At(t, tuning, "spec").(string)
		a := r.ask(t, "GET", "/api/tuning?spec="+strings.ReplaceAll(spec, " ", "+"), "")
		if n := At(t, a, "notes").(float64); float64(len(At(t, a, "steps").([]any))) != n+1 {
			t.Errorf("%s: %v notes in %d steps", spec, n, len(At(t, a, "steps").([]any)))
		}
	}
	a := r.ask(t, "GET", "/api/tuning?spec=quarter-comma-meantone&reference=C4=264", "")
	// The third of quarter-comma meantone is pure (R. W. Duffin and others; common knowledge of the trade).
	if At(t, a, "steps", 4, "ratio") != "5/4" {
		t.Errorf("note 4 of quarter-comma meantone is near %v", At(t, a, "steps", 4, "ratio"))
	}
	Near(t, a, 330, 1e-9, "steps", 4, "hz")
}

func testComparisons(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	a := r.ask(t, "GET", "/api/compare?spec=12edo&spec=31edo&chords=4:5:6", "")
	// The major third of 12 equal steps is 13.69 cents wide (400 − 386.31), the fifth 1.96 narrow, so
	// the minor third is 15.64 narrow, the worst of the triad; 31 comes out nearer.
	if At(t, a, "fits", 0, "tuning") != "31edo" {
		t.Errorf("best of 12edo and 31edo: %v", At(t, a, "fits", 0, "tuning"))
	}
	Near(t, a, 15.641, 1e-3, "fits", 1, "worst_cents")
	Near(t, a, 13.686, 1e-3, "fits", 1, "chords", 0, "pairs", 0, "error_cents")
	d := r.ask(t, "GET", "/api/divisions?range=5..60&chords=4:5:6:7", "")
	if n := len(At(t, d, "divisions").([]any)); n != 56 {
		t.Errorf("%d divisions, want 56", n)
	}
	Near(t, d, 31, 0, "divisions", 0, "division")
	if got := fmt.Sprint(At(t, d, "divisions", 0, "steps", 0)); got != "[0 10 18 25]" {
		t.Errorf("4:5:6:7 in 31edo: steps %v", got)
	}
	d = r.ask(t, "GET", "/api/divisions?range=13&of=3/1&chords=3:5:7", "")
	if At(t, d, "divisions", 0, "odd_limit") != nil {
		t.Error("a division of 3/1 has an odd limit of the octave")
	}
}

// The open G chord with a pure third: the B string, at the interval 5/4 above G less 400 cents
// of frets, goes 13.69 cents down, if the others stay (their fifths of 12 equal steps do not).
func testDetune(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	a := r.ask(t, "POST", "/api/detune", `{"instrument":"guitar-12edo","chords":["x x x 0 0 x as 4:5"],"anchor":3,"explore":true}`)
	Near(t, a, -13.686, 1e-3, "plan", "cents", 1)
	Near(t, a, -13.686, 1e-3, "strings", 1, "cents")
	Near(t, a, 246.9417, 1e-4, "strings", 1, "hz_before")
	Near(t, a, 244.9971, 2e-4, "strings", 1, "hz_after") // 5/4 of 195.9977
	Near(t, a, 13.686, 1e-3, "chords", 0, "pairs", 0, "cents_before")
	Near(t, a, 0, 1e-6, "chords", 0, "pairs", 0, "cents_after")
	// Harmonic partials would beat 4·246.9417 − 5·195.9977 = 7.78 times a second before, and not after;
	// those of stiff strings somewhat otherwise.
	Near(t, a, 7.78, 1.5, "chords", 0, "pairs", 0, "beat_before")
	Near(t, a, 0, 1.5, "chords", 0, "pairs", 0, "beat_after")
	if len(At(t, a, "others").([]any)) == 0 || len(At(t, a, "trade").([]any)) == 0 {
		t.Error("nothing is said of other chords")
	}
	limited := r.ask(t, "POST", "/api/detune", `{"instrument":"guitar-12edo","chords":["x x x 0 0 x as 4:5"],"anchor":3,"common":"","limits":[{"string":2,"down":5,"up":0}]}`)
	Near(t, limited, -5, 1e-6, "plan", "cents", 1)
	Near(t, limited, 2, 0, "obstacles", 0, "string")
	if len(At(t, limited, "others").([]any)) != 0 {
		t.Error("other chords are told though none were asked for")
	}
	r.ask(t, "PUT", "/api/session", `{"instrument":"guitar-12edo","tuning":"","reference":"","string":0,"frets":false,"all_strings":false,"tolerance_cents":0.5,"plan":`+mustJSON(t, limited["plan"])+`}`)
}

// A5 and C#6 above A4 of 12 equal steps: partial 5 of A3 at 1100 Hz and partial 4 of C#4 at
// 4·277.1826 = 1108.7305 Hz beat 8.7305 times a second, as every table for tuners has it.
func testBeats(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	a := r.ask(t, "POST", "/api/beats", `{"notes":[{"note":"A3"},{"note":"C#4"}],"differences":true}`)
	Near(t, a, 8.7305, 1e-4, "pairs", 0, "found", 0, "beat_hz")
	if At(t, a, "pairs", 0, "found", 0, "ratio") != "5/4" {
		t.Errorf("found %v", At(t, a, "pairs", 0, "found"))
	}
	Near(t, a, 57.1826, 1e-4, "differences", 0, "hz") // 277.1826 − 220, or a stronger one
	b := r.ask(t, "POST", "/api/beats", `{"instrument":"guitar-12edo","notes":[{"string":6,"fret":5},{"string":5}]}`)
	Near(t, b, 0, 1e-9, "pairs", 0, "found", 0, "beat_hz") // A2 on both
	c := r.ask(t, "POST", "/api/beats", `{"instrument":"guitar-12edo","plan":{"name":"","cents":[0,0,0,0,2,0]},"notes":[{"string":6,"fret":5},{"string":5}]}`)
	Near(t, c, 110*(math.Exp2(2.0/1200)-1), 1e-9, "pairs", 0, "found", 0, "beat_hz")
}

// A shape that is another chord is not made into one unasked: G3 and B3, 400 cents apart, are 301.96 from a fifth.
func testDetuneRefusesWhatStartsFarOff(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	const far = `{"instrument":"guitar-12edo","chords":["x x x 0 0 x as 2:3"],"common":"","limit_cents":20%s}`
	_, body := r.do(t, "POST", "/api/detune", fmt.Sprintf(far, ""))
	if !strings.Contains(body, `"far"`) || !strings.Contains(body, "starts 302 cents off") {
		t.Errorf("refused with %s", body)
	}
	a := r.ask(t, "POST", "/api/detune", fmt.Sprintf(far, `,"accept_far":true`))
	Near(t, a, 301.955, 1e-3, "chords", 0, "worst_before")
}

// A plan that is in force counts: the board sounds as it has the strings, and Detune moves them from there, while its
// plan counts from the tuning. String 2 that is 13.686 cents down already (400 − 1200·log2(5/4)) need not move.
func testPlanInForce(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	b := r.ask(t, "GET", "/api/instruments/guitar-12edo/board?plan=0,-13.686,0,0,0,0", "")
	Near(t, b, 244.9971, 2e-4, "strings", 1, "hz")                // 5/4 of 195.9977
	Near(t, b, 2*244.9971, 4e-4, "strings", 1, "frets", 11, "hz") // an octave above
	a := r.ask(t, "POST", "/api/detune", `{"instrument":"guitar-12edo","chords":["x x x 0 0 x as 4:5"],"anchor":3,"common":"","from":[0,-13.686,0,0,0,7]}`)
	Near(t, a, 0, 1e-3, "strings", 1, "cents")
	Near(t, a, 244.9971, 2e-4, "strings", 1, "hz_before")
	Near(t, a, 0, 1e-3, "chords", 0, "worst_before")
	Near(t, a, -13.686, 1e-3, "plan", "cents", 1)
	Near(t, a, 7, 1e-6, "plan", "cents", 5)
}

// The numbers that a page is told to accept are accepted, and the next ones are not.
func testBoundsAreThoseOfTheRequests(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	told := r.ask(t, "GET", "/api/bounds", "")
	for name, c := range map[string]struct {
		step float64
		ask  string // %g is the number
	}{
		"notes": {1, `POST /api/setup {"notes":%g}`}, "plucks": {1, `POST /api/setup {"plucks":%g}`}, "thread_mm": {0.01, `POST /api/setup {"thread_mm":%g}`},
		"span_mm":      {1, "GET /api/instruments/guitar-12edo/shapes?chord=1:2&most=1&span_mm=%g"},
		"within_cents": {1, "GET /api/instruments/guitar-12edo/shapes?chord=1:2&most=1&within_cents=%g"},
		"divisions":    {1, "GET /api/divisions?chords=2:3&range=%g"},
		"spare":        {0.01, `POST /api/detune {"instrument":"guitar-12edo","chords":["x x x 0 0 x as 4:5"],"common":"4:5","spare":%g}`},
		"limit_cents":  {1, `POST /api/detune {"instrument":"guitar-12edo","chords":["x x x 0 0 x as 4:5"],"common":"","limit_cents":%g}`},
	} {
		for _, end := range []struct {
			key string
			out float64
		}{{"least", -c.step}, {"most", c.step}} {
			x := At(t, told, name, end.key).(float64)
			for _, by := range []float64{0, end.out} {
				if x+by == 0 && by != 0 && (name == "notes" || name == "plucks") {
					continue // 0 is as usual
				}
				method, rest, _ := strings.Cut(fmt.Sprintf(c.ask, x+by), " ")
				path, body, _ := strings.Cut(rest, " ")
				status, answer := r.do(t, method, path, body)
				if refused := status != http.StatusOK; refused != (by != 0) {
					t.Errorf("%s %g: status %d, %.200s", name, x+by, status, answer)
				}
				if method == "POST" && status == http.StatusOK && path == "/api/setup" {
					r.ask(t, "DELETE", "/api/setup", "")
				}
			}
		}
	}
	for name := range told {
		if _, ok := told[name].(map[string]any); !ok {
			t.Errorf("%s is no bound", name)
		}
	}
}

// Programs tell refusals by their code.
func testRefusalsHaveCodes(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{})
	for _, c := range []struct{ method, path, body, code string }{
		{"PATCH", "/api/session", `{"instrument":"lute"}`, "invalid"},
		{"PATCH", "/api/session", `{"plan":{"name":"x","cents":[300,0,0,0,0,0]}}`, "risk"},
		{"GET", "/api/nothing", ``, "not_found"},
		{"GET", "/api/instruments/lute/board", ``, "not_found"},
		{"POST", "/api/setup/action", `{"action":"redo"}`, "no_check"},
		{"GET", "/api/setup/files/check.json", ``, "no_check"},
	} {
		_, body := r.do(t, c.method, c.path, c.body)
		var e struct{ Error, Code string }
		if err := json.Unmarshal([]byte(body), &e); err != nil || e.Code != c.code {
			t.Errorf("%s %s %.50s: code %q, want %q (%s)", c.method, c.path, c.body, e.Code, c.code, e.Error)
		}
	}
}

func mustJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
