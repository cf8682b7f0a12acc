package ensemble

import "testing"

// Two low strings that beat fade to a few percent for a hop or two; a hand that stops them does for good.
func TestBeatsAreNoDamping(t *testing.T) {
	for _, c := range []struct {
		name  string
		power func(hop int) float64
		stops bool
	}{
		{"steady", func(int) float64 { return 0.05 }, false},
		{"a hop fades", func(hop int) float64 {
			if hop%11 == 10 {
				return 0.001
			}
			return 0.05
		}, false},
		{"two hops fade", func(hop int) float64 {
			if hop%13 > 10 {
				return 0.001
			}
			return 0.05
		}, false},
		{"a hand stops it", func(hop int) float64 {
			if hop > 30 {
				return 0.001
			}
			return 0.05
		}, true},
	} {
		e := newEnvelope()
		ended := false
		for hop := range 60 {
			event := e.judge(c.power(hop), 1e-4)
			e.power[e.n%len(e.power)], e.rough[e.n%len(e.rough)] = c.power(hop), 1e-4
			e.n++
			ended = ended || event == stopped
		}
		if ended != c.stops {
			t.Errorf("%s: stopped %v, want %v", c.name, ended, c.stops)
		}
	}
}
