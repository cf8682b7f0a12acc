package benchtest

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"tunerd/internal/bench"
	"tunerd/internal/journal"
)

// kept is a journal of two sessions a day apart: string 1 was left at +0.5 cents and found at −3.
func kept(t *testing.T) *journal.Journal {
	t.Helper()
	j := journal.New(journal.NewMemory())
	start := time.Date(2024, 3, 1, 9, 0, 0, 0, time.UTC)
	for day, cents := range []float64{0.5, -3} {
		rec := j.Begin(journal.Session{
			Kind: "listen", Instrument: "violin", Started: start.AddDate(0, 0, day), Ended: start.AddDate(0, 0, day).Add(time.Minute),
			Strings: []journal.String{{Number: 1, Label: "E5", TargetHz: 660}},
		}, nil)
		rec.Add(journal.Reading{String: 1, Label: "E5", TargetHz: 660, F1Hz: 660, SigmaCents: 0.1, Cents: cents})
		if err := rec.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return j
}

func testJournal(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{journal: kept(t)})
	list := r.ask(t, "GET", "/api/journal/sessions?instrument=violin", "")
	first := At(t, list, "sessions", 0)
	if At(t, first, "kind") != "listen" || At(t, first, "readings") != 1.0 || len(list["sessions"].([]any)) != 2 {
		t.Errorf("sessions: %v", list)
	}
	id := At(t, first, "id").(float64)
	got := r.ask(t, "GET", fmt.Sprintf("/api/journal/sessions/%.0f", id), "")
	Near(t, got, 0.5, 0, "readings", 0, "cents")

	drift := r.ask(t, "GET", "/api/journal/drift?instrument=violin", "")
	Near(t, drift, 0.5, 0, "strings", 0, "sittings", 0, "left_cents")
	Near(t, drift, -3, 0, "strings", 0, "sittings", 1, "found_cents")

	r.ask(t, "PUT", fmt.Sprintf("/api/journal/sessions/%.0f/note", id), `{"note":"damp day"}`)
	list = r.ask(t, "GET", "/api/journal/sessions", "")
	if At(t, list, "sessions", 0, "note") != "damp day" {
		t.Errorf("the remark is %v", At(t, list, "sessions", 0, "note"))
	}
	r.ask(t, "POST", "/api/journal/events", `{"instrument":"violin","string":1,"kind":"new strings","text":"gut"}`)
	drift = r.ask(t, "GET", "/api/journal/drift?instrument=violin", "")
	if At(t, drift, "restrung", 0, "text") != "gut" {
		t.Errorf("the story of the strings: %v", drift["restrung"])
	}
	r.ask(t, "DELETE", fmt.Sprintf("/api/journal/sessions/%.0f", id), "")
	if status, text := r.do(t, "GET", fmt.Sprintf("/api/journal/sessions/%.0f", id), ""); status != http.StatusNotFound {
		t.Errorf("a session that was deleted: status %d, %s", status, text)
	}
}

// Where nothing was ever kept, there are no sessions, and that is no error.
func testNoJournal(t *testing.T, w *workshop) {
	r := w.rig(t, bench.Settings{}, options{})
	if list := r.ask(t, "GET", "/api/journal/sessions", ""); len(list["sessions"].([]any)) != 0 {
		t.Errorf("sessions: %v", list)
	}
	for body, want := range map[string]int{
		`{"instrument":"violin","kind":"new strings"}`: http.StatusBadRequest,
		`{"instrument":"violin","kind":"rust"}`:        http.StatusBadRequest,
	} {
		if status, text := r.do(t, "POST", "/api/journal/events", body); status != want {
			t.Errorf("POST %s: status %d, %s, want %d", body, status, text, want)
		}
	}
}
