package server

import (
	"fmt"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"tunerd/internal/journal"
	"tunerd/internal/journal/sqlite"
)

// keep makes a journal of two sessions a day apart: string 1 was left at +0.5 cents and found at −3.
func keep(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "journal.db")
	j, err := sqlite.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
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
	return path
}

func TestJournal(t *testing.T) {
	path := keep(t)
	r := newRig(t, "", Settings{}, func(c *Config) { c.Journal = path })
	list := r.ask(t, "GET", "/api/journal/sessions?instrument=violin", "")
	first := at(t, list, "sessions", 0)
	if at(t, first, "kind") != "listen" || at(t, first, "readings") != 1.0 || len(list["sessions"].([]any)) != 2 {
		t.Errorf("sessions: %v", list)
	}
	id := at(t, first, "id").(float64)
	got := r.asked(t, "GET", fmt.Sprintf("/api/journal/sessions/%.0f", id), "/api/journal/sessions/{id}", "")
	near(t, got, 0.5, 0, "readings", 0, "cents")

	drift := r.ask(t, "GET", "/api/journal/drift?instrument=violin", "")
	near(t, drift, 0.5, 0, "strings", 0, "sittings", 0, "left_cents")
	near(t, drift, -3, 0, "strings", 0, "sittings", 1, "found_cents")

	r.asked(t, "PUT", fmt.Sprintf("/api/journal/sessions/%.0f/note", id), "/api/journal/sessions/{id}/note", `{"note":"damp day"}`)
	list = r.ask(t, "GET", "/api/journal/sessions", "")
	if at(t, list, "sessions", 0, "note") != "damp day" {
		t.Errorf("the remark is %v", at(t, list, "sessions", 0, "note"))
	}
	r.ask(t, "POST", "/api/journal/events", `{"instrument":"violin","string":1,"kind":"new strings","text":"gut"}`)
	drift = r.ask(t, "GET", "/api/journal/drift?instrument=violin", "")
	if at(t, drift, "restrung", 0, "text") != "gut" {
		t.Errorf("the story of the strings: %v", drift["restrung"])
	}
	r.asked(t, "DELETE", fmt.Sprintf("/api/journal/sessions/%.0f", id), "/api/journal/sessions/{id}", "")
	if status, text := r.do(t, "GET", fmt.Sprintf("/api/journal/sessions/%.0f", id), ""); status != http.StatusNotFound {
		t.Errorf("a session that was deleted: status %d, %s", status, text)
	}
}

// Where nothing was ever kept, there are no sessions, and that is no error.
func TestNoJournal(t *testing.T) {
	r := newRig(t, "", Settings{}, func(c *Config) { c.Journal = filepath.Join(t.TempDir(), "none.db") })
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
