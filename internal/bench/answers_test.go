package bench

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/bench/openapi"
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
