package main

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"
)

// The program builds the fit with its parts as variables, leaves one out, and that makes a difference.
func TestSomethingIsLeftOut(t *testing.T) {
	var out bytes.Buffer
	o := options{set: "small", trials: 1, seed: 1, rounds: 1, names: []string{"the separate solver"}}
	if testing.Short() {
		t.Skip("builds a program")
	}
	if err := run(t.Context(), &out, o); err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(out.String()), "\n")
	shipped, without := rows[len(rows)-2], rows[len(rows)-1]
	if !strings.HasPrefix(shipped, "| (as shipped) | 1.000 | 0 | 0 of ") || !strings.HasPrefix(without, "| the separate solver | ") {
		t.Fatalf("rows\n%s\n%s", shipped, without)
	}
	if strings.HasPrefix(without, "| the separate solver | 1.000 | 0 | 0 of ") {
		t.Errorf("leaving out a solver changes nothing: %s", without)
	}
	o.names = []string{"the weather"}
	if err := run(t.Context(), io.Discard, o); err == nil || !strings.Contains(err.Error(), "weather") || !strings.Contains(err.Error(), "solver") {
		t.Errorf("without the weather: %v", err)
	}
}

func TestCompare(t *testing.T) {
	got := compare([]float64{2, 0.5, 1, 1, 3}, []float64{1, 1, 1.01, 0, math.Inf(1)})
	if got.more != 1 || got.less != 1 || got.n != 3 || math.Abs(got.mean-math.Cbrt(1/1.01)) > 1e-12 {
		t.Errorf("%+v", got)
	}
}
