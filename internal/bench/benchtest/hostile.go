package benchtest

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"tunerd/internal/bench"
)

// hostileTexts are what no parameter should stumble over.
var hostileTexts = []string{
	"", " ", "\x00", "\xff\xfe", "\u202e", strings.Repeat("9", 400), "-1", "-0", "1e308", "1e999", "NaN", "Inf", "0x10", "1/0", "0:0", "4:5:6:0",
	"../../etc/passwd", "/etc/passwd", "C:\\x.toml", "%00", "%", "{id}", "[]", "{}", "null", "true", "<script>", "'; drop table sessions; --",
	strings.Repeat("a", 5000), strings.Repeat("5/4 ", 3000), strings.Repeat("1:", 3000) + "1", "1000000edo", "99999999999999999999edo", "🎸",
}

// refusedOrNot wants an answer, or a refusal with its code for what was sent. Nothing that is sent is the fault of
// whoever answers.
func (r *rig) refusedOrNot(t *testing.T, method, path, query, body string) int {
	t.Helper()
	if query != "" {
		path += "?" + query
	}
	status, answer := r.do(t, method, path, body)
	if status != 200 && (status < 400 || status > 499) {
		t.Errorf("%s %.200s %.200s: status %d, %.200s", method, path, body, status, answer)
	}
	return status
}

// Every parameter that is described is given everything hostile.
func testHostileQueries(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{journal: kept(t)})
	tried := 0
	for path, methods := range readDescription(t).Paths {
		for method, op := range methods {
			name := strings.ToUpper(method) + " " + path
			if shell[name] || op.RequestBody != nil {
				continue
			}
			for _, p := range op.Parameters {
				for _, text := range hostileTexts {
					at, query := strings.ReplaceAll(path, "{id}", "violin"), ""
					at = strings.ReplaceAll(at, "{name}", "check.json")
					if p.In == "path" {
						if text == "" {
							continue // it is another path
						}
						at = strings.ReplaceAll(path, "{"+p.Name+"}", url.PathEscape(text))
					} else {
						query = url.Values{p.Name: {text}}.Encode()
					}
					r.refusedOrNot(t, strings.ToUpper(method), at, query, "")
					tried++
				}
			}
			if status := r.refusedOrNot(t, strings.ToUpper(method), strings.NewReplacer("{id}", "violin", "{name}", "check.json").Replace(path), "surely=1", ""); status == 200 && method == "get" && len(op.Parameters) > 0 && op.Parameters[len(op.Parameters)-1].In == "query" {
				t.Errorf("%s takes a parameter that is not described", name)
			}
		}
	}
	if tried < 500 {
		t.Errorf("only %d questions were asked", tried)
	}
}

// Every field of every body is given what has another type, or is out of all bounds; and what is no object at all.
func testHostileBodies(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{Instrument: "guitar-12edo"}, options{journal: kept(t)})
	doc := readDescription(t)
	values := []string{`null`, `true`, `-1`, `1e308`, `99999999999999999999999`, `""`, `"\u0000"`, `"\ud800"`, `"` + strings.Repeat("x", 9000) + `"`, `[]`, `[null]`, `[[[[]]]]`,
		`{}`, `{"a":1}`, strings.Repeat("[", 9000) + strings.Repeat("]", 9000)}
	for path, methods := range doc.Paths {
		for method, op := range methods {
			if op.RequestBody == nil {
				continue
			}
			method, at := strings.ToUpper(method), strings.ReplaceAll(path, "{id}", "1")
			for _, body := range []string{``, `{`, `[]`, `"x"`, `0`, `{} {}`, `{"surely":1}`, "\x00", "{\"a\xff\":1}", strings.Repeat(`{"a":`, 9000), `{"plan":{"cents":[` + strings.Repeat("0,", 9000) + `0]}}`} {
				if status := r.refusedOrNot(t, method, at, "", body); status == 200 {
					t.Errorf("%s %s takes %.60q", method, path, body)
				}
			}
			for name := range doc.resolve(op.RequestBody.Content["application/json"].Schema).Properties {
				for _, v := range values {
					r.refusedOrNot(t, method, at, "", `{"`+name+`":`+v+`}`)
				}
			}
		}
	}
	session := r.ask(t, "GET", "/api/session", "")
	if !json.Valid([]byte(mustJSON(t, session))) || len(r.ask(t, "GET", "/api/instruments", "")["instruments"].([]any)) == 0 {
		t.Error("it does not answer any more")
	}
}

func testHostilePaths(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	for _, path := range []string{
		"/api/", "/api/session/", "/api/session/x", "/api/instruments/", "/api/instruments/violin", "/api/instruments/violin/", "/api/instruments/violin/board/",
		"/api/instruments/violin/Board", "/api/instruments/%2e%2e%2fsession/x", "/api/%73essions", "/api/setup/files/", "/api/setup/files/..%2fcheck.json",
		"/api/" + strings.Repeat("x", 4000),
	} {
		for _, method := range []string{"GET", "DELETE", "PUT", "POST", "PATCH"} {
			status, answer := r.do(t, method, path, "{}")
			if status != 404 {
				t.Errorf("%s %.60s: status %d, %.100s", method, path, status, answer)
			}
		}
	}
	if status, _ := r.do(t, "GET", "/api/journal/sessions/one", ""); status != 400 {
		t.Errorf("a session that is no number: status %d", status)
	}
}
