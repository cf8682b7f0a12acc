package benchtest

import (
	"encoding/json"
	"testing"
)

// The checker finds what is wrong.
func TestSchemaCheckSees(t *testing.T) {
	doc := readDescription(t)
	near := schema{Ref: "#/components/schemas/Near"}
	for text, want := range map[string]int{
		`{"cents":1.5,"ratio":"3/2","off_cents":0}`:          0,
		`{"cents":1.5,"ratio":"3/2"}`:                        1,
		`{"cents":"x","ratio":"3/2","off_cents":0}`:          1,
		`{"cents":1.5,"ratio":"3/2","off_cents":0,"more":1}`: 1,
		`null`: 1,
	} {
		var v any
		if err := json.Unmarshal([]byte(text), &v); err != nil {
			t.Fatal(err)
		}
		if wrong := doc.check(near, v, "near"); len(wrong) != want {
			t.Errorf("%s: %v", text, wrong)
		}
	}
}
