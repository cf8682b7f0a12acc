package command_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"tunerd/internal/sound"
)

// planSound makes the sound of an instrument that has been tuned to a plan, both read here as any
// program would: pitches from the plan (JSON), inharmonicities from what "instrument show --json"
// printed. All open strings sound one after the other or all at once, with noise 60 dB below. CENTS
// are added to every string.
//
//	plansound FILE PLAN.json STRINGS.jsonl apart|together CENTS
func planSound(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 5 || args[3] != "apart" && args[3] != "together" {
		ts.Fatalf("usage: plansound FILE PLAN.json STRINGS.jsonl apart|together CENTS")
	}
	off, err := strconv.ParseFloat(args[4], 64)
	ts.Check(err)
	var plan struct{ Strings []struct{ Hz float64 } }
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &plan))
	strings := readObjects(ts, args[2])
	const seconds = 4
	apart := 0
	if args[3] == "apart" {
		apart = seconds * scriptRate
	}
	rng := rand.New(rand.NewPCG(5, 6))
	scene := make([]float64, (len(plan.Strings)-1)*apart+(seconds+1)*scriptRate)
	for i, s := range plan.Strings {
		spec := sound.String(s.Hz * math.Exp2(off/1200))
		spec.B, _ = strings[i]["inharmonicity"].(float64)
		spec.Peak = 0.1
		if apart > 0 {
			spec.DampS = seconds - 0.8
		}
		at := i*apart + scriptRate/2
		end := min(len(scene), at+seconds*scriptRate)
		spec.AddTo(scene[:end], at, scriptRate, rng)
	}
	for i := range scene {
		scene[i] += 1e-4 * rng.NormFloat64()
	}
	save(ts, args[0], scene)
}

// allNear wants a number in every line of a type to be near a value: allnear stdout note cents 0 0.1
func allNear(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 5 {
		ts.Fatalf("usage: allnear FILE TYPE NAME VALUE TOLERANCE")
	}
	want, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	tolerance, err := strconv.ParseFloat(args[4], 64)
	ts.Check(err)
	seen := ""
	for _, object := range readObjects(ts, args[0]) {
		if object["type"] != args[1] {
			continue
		}
		got, _ := field(object, args[2])
		if x, ok := got.(float64); !ok || !(math.Abs(x-want) <= tolerance) {
			ts.Fatalf("%s is %v, want %v within %v: %v", args[2], got, want, tolerance, object)
		}
		seen += fmt.Sprintf(" %v", got)
	}
	if seen == "" {
		ts.Fatalf("no object of type %s", args[1])
	}
	ts.Logf("%s:%s", args[2], seen)
}
