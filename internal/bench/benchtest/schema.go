package benchtest

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"tunerd/internal/bench/openapi"
)

// A schema is as much of JSON Schema as openapi.json uses.
type schema struct {
	Ref        string            `json:"$ref"`
	Type       any               `json:"type"`
	Required   []string          `json:"required"`
	Properties map[string]schema `json:"properties"`
	Items      *schema           `json:"items"`
	AnyOf      []schema          `json:"anyOf"`
	Enum       []any             `json:"enum"`
}

type openAPI struct {
	OpenAPI string `json:"openapi"`
	Paths   map[string]map[string]struct {
		Parameters []struct {
			Name   string `json:"name"`
			In     string `json:"in"`
			Schema schema `json:"schema"`
		} `json:"parameters"`
		RequestBody *struct {
			Content map[string]struct {
				Schema schema `json:"schema"`
			} `json:"content"`
		} `json:"requestBody"`
		Responses map[string]struct {
			Content map[string]struct {
				Schema schema `json:"schema"`
			} `json:"content"`
		} `json:"responses"`
	} `json:"paths"`
	Components struct {
		Schemas map[string]schema `json:"schemas"`
	} `json:"components"`
}

func readDescription(t *testing.T) *openAPI {
	t.Helper()
	var doc openAPI
	if err := json.Unmarshal(openapi.Description, &doc); err != nil {
		t.Fatal(err)
	}
	return &doc
}

// pattern returns what the description calls a path; the path itself if nothing.
func (d *openAPI) pattern(path string) string {
	if _, ok := d.Paths[path]; ok {
		return path
	}
	got := strings.Split(path, "/")
	for name := range d.Paths {
		if slices.EqualFunc(strings.Split(name, "/"), got, func(want, got string) bool { return want == got || strings.HasPrefix(want, "{") }) {
			return name
		}
	}
	return path
}

// resolve follows a reference.
func (d *openAPI) resolve(s schema) schema {
	if s.Ref != "" {
		return d.Components.Schemas[strings.TrimPrefix(s.Ref, "#/components/schemas/")]
	}
	return s
}

// check returns what is wrong with a value; a property that is not declared is wrong too.
func (d *openAPI) check(s schema, v any, at string) []string {
	if s.Ref != "" {
		named, ok := d.Components.Schemas[strings.TrimPrefix(s.Ref, "#/components/schemas/")]
		if !ok {
			return []string{at + ": " + s.Ref + " is not there"}
		}
		return d.check(named, v, at)
	}
	if len(s.AnyOf) > 0 {
		var all []string
		for _, choice := range s.AnyOf {
			wrong := d.check(choice, v, at)
			if len(wrong) == 0 {
				return nil
			}
			all = append(all, wrong...)
		}
		return all
	}
	if s.Enum != nil && !slices.Contains(s.Enum, v) {
		return []string{fmt.Sprintf("%s: %v is none of %v", at, v, s.Enum)}
	}
	if !ofType(s.Type, v) {
		return []string{fmt.Sprintf("%s: %T is not %v", at, v, s.Type)}
	}
	var wrong []string
	switch v := v.(type) {
	case []any:
		for i, item := range v {
			wrong = append(wrong, d.check(*s.Items, item, fmt.Sprintf("%s[%d]", at, i))...)
		}
	case map[string]any:
		for _, name := range s.Required {
			if _, ok := v[name]; !ok {
				wrong = append(wrong, at+"."+name+" is missing")
			}
		}
		for name, value := range v {
			p, ok := s.Properties[name]
			if !ok && s.Properties != nil {
				wrong = append(wrong, at+"."+name+" is not described")
				continue
			}
			if ok {
				wrong = append(wrong, d.check(p, value, at+"."+name)...)
			}
		}
	}
	return wrong
}

func ofType(declared, v any) bool {
	if many, ok := declared.([]any); ok {
		return slices.ContainsFunc(many, func(one any) bool { return ofType(one, v) })
	}
	switch v := v.(type) {
	case nil:
		return declared == "null"
	case bool:
		return declared == "boolean"
	case string:
		return declared == "string"
	case float64:
		return declared == "number" || declared == "integer" && v == math.Trunc(v)
	case []any:
		return declared == "array"
	case map[string]any:
		return declared == "object"
	}
	return false
}
