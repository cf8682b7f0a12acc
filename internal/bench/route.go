package bench

import (
	"net/url"
	"strings"
)

// A route is a request that there is.
type route struct {
	method   string
	segments []string // of the path; {id} stands for any one that is not empty
	make     answer
}

// newRoutes reads patterns as openapi.json writes them, such as "GET /api/instruments/{id}/board".
func newRoutes(answers map[string]answer) []route {
	var all []route
	for pattern, make := range answers {
		method, path, _ := strings.Cut(pattern, " ")
		all = append(all, route{method, strings.Split(path, "/"), make})
	}
	return all
}

// find returns what answers a request, and what stands for the names of its pattern; nil if there is none. A pattern
// in words is nearer than one with a name in its place. HEAD is GET without its body.
func find(routes []route, method, path string) (make answer, values map[string]string) {
	if method == "HEAD" {
		method = "GET"
	}
	segments := strings.Split(path, "/")
	for i := range routes {
		r := &routes[i]
		if got, ok := r.matches(method, segments); ok && (make == nil || len(got) < len(values)) {
			make, values = r.make, got
		}
	}
	return make, values
}

func (r *route) matches(method string, segments []string) (map[string]string, bool) {
	if method != r.method || len(segments) != len(r.segments) {
		return nil, false
	}
	values := map[string]string{}
	for i, want := range r.segments {
		got, err := url.PathUnescape(segments[i])
		name, named := strings.CutPrefix(want, "{")
		switch {
		case err != nil || got == "" && named || got != want && !named:
			return nil, false
		case named:
			values[strings.TrimSuffix(name, "}")] = got
		}
	}
	return values, true
}
