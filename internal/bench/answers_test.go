package bench

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/bench/openapi"
	"tunerd/internal/fault"
	"tunerd/internal/journal"
)

// Every request that is answered is described, and the other way round; but those about what carries requests are not
// for a bench.
func TestDescriptionNamesAllRequests(t *testing.T) {
	var doc struct{ Paths map[string]map[string]any }
	if err := json.Unmarshal(openapi.Description, &doc); err != nil {
		t.Fatal(err)
	}
	described, there := []string{}, []string{"GET /api/openapi.json", "DELETE /api/access"}
	for path, methods := range doc.Paths {
		for method := range methods {
			described = append(described, strings.ToUpper(method)+" "+path)
		}
	}
	for pattern := range New(Config{}).answers() {
		there = append(there, pattern)
	}
	slices.Sort(described)
	slices.Sort(there)
	if !slices.Equal(described, there) {
		t.Errorf("described:\n%s\nthere:\n%s", strings.Join(described, "\n"), strings.Join(there, "\n"))
	}
}

func TestRoutes(t *testing.T) {
	routes := newRoutes(New(Config{}).answers())
	for _, c := range []struct {
		method, path, id string
		found            bool
	}{
		{"GET", "/api/session", "", true},
		{"HEAD", "/api/session", "", true},
		{"POST", "/api/session", "", false},
		{"GET", "/api/session/", "", false},
		{"GET", "api/session", "", false},
		{"GET", "", "", false},
		{"GET", "/api/instruments/violin/board", "violin", true},
		{"GET", "/api/instruments/a%2Fb/board", "a/b", true},
		{"GET", "/api/instruments/%zz/board", "", false},
		{"GET", "/api/instruments//board", "", false},
		{"GET", "/api/instruments/violin/board/more", "", false},
		{"GET", "/api/journal/sessions/12", "12", true},
	} {
		make, values := find(routes, c.method, c.path)
		if (make != nil) != c.found || values["id"] != c.id {
			t.Errorf("%s %s: found %v with %v", c.method, c.path, make != nil, values)
		}
	}
}

// A journal that cannot be read is no mistake of who asks for a session, and a session that is not there is no fault
// of the journal's.
func TestFaultsAreToldFromMistakes(t *testing.T) {
	for _, c := range []struct {
		err    error
		status int
		code   string
	}{
		{fault.New(fault.Storage, fmt.Errorf("a.db: %w", journal.ErrDamaged)), 500, "failed"},
		{fmt.Errorf("a.db: %w", journal.ErrNone), 404, "not_found"},
		{journal.ErrNoSession, 404, "not_found"},
		{errors.New("string 9: the instrument has strings 1 to 6"), 400, "invalid"},
	} {
		b := New(Config{Journal: func(func(*journal.Journal) error) error { return c.err }})
		answer := b.Ask(context.Background(), &Request{Method: "GET", Path: "/api/journal/sessions/12"})
		var body struct{ Code string }
		if err := json.Unmarshal(answer.Body, &body); err != nil {
			t.Fatal(err)
		}
		if answer.Status != c.status || body.Code != c.code {
			t.Errorf("%v: %d with code %q, want %d with %q", c.err, answer.Status, body.Code, c.status, c.code)
		}
	}
}
