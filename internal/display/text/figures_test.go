package text

import (
	"encoding/json"
	"math"
	"testing"
	"time"
)

type inner struct {
	Hz     float64 `json:"hz"`
	Hidden int     `json:"-"`
	Word   string  `json:"word"`
}

type outer struct {
	inner2
	*inner
	Word   string          `json:"word"` // hides the inner one
	Cents  []float64       `json:"cents"`
	None   []int           `json:"none"`
	Left   string          `json:"left,omitempty"`
	At     time.Time       `json:"at"`
	Raw    json.RawMessage `json:"raw"`
	Any    any             `json:"any"`
	Map    map[string]int  `json:"map"`
	Pure   *float64        `json:"pure"`
	Bare   bool
	secret int
}

type inner2 struct {
	Steps [2]int `json:"steps"`
}

// What JSON can carry is written as encoding/json writes it; what it cannot is null.
func TestMarshalFigures(t *testing.T) {
	x := 1.5
	v := outer{inner2{[2]int{1, 2}}, &inner{440.1, 7, "in <&>"}, "out <&>\u2028", []float64{1e-9, -3, 1e21}, nil, "", time.Unix(0, 0).UTC(), json.RawMessage(`{"a":[1]}`), []inner{{Hz: 2}}, map[string]int{"b": 1, "a": 2}, &x, true, 1}
	want, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	got, err := MarshalFigures(v)
	if err != nil {
		t.Fatal(err)
	}
	var a, b any
	if json.Unmarshal(want, &a) != nil || json.Unmarshal(got, &b) != nil || len(got) != len(want) {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	again, _ := json.Marshal(b)
	plain, _ := json.Marshal(a)
	if string(again) != string(plain) {
		t.Errorf("got  %s\nwant %s", again, plain)
	}
	v.Hz, v.Cents, v.Pure = math.NaN(), []float64{math.Inf(1), math.Copysign(0, -1)}, nil
	got, err = MarshalFigures(&v)
	var read map[string]any
	if err != nil || json.Unmarshal(got, &read) != nil || read["hz"] != nil || read["pure"] != nil {
		t.Errorf("%v, %s", err, got)
	}
	if cents := read["cents"].([]any); cents[0] != nil || cents[1] != 0.0 {
		t.Errorf("cents %v", cents)
	}
	if got, err := MarshalFigures(nil); err != nil || string(got) != "null" {
		t.Errorf("nil: %s, %v", got, err)
	}
}
