package units

import (
	"math"
	"testing"
)

// The factors of NIST SP 811 (2008), appendix B.8: 1 in = 25.4 mm, 1 lbf = 4.448222 N, 1 kgf = 9.80665 N.
func TestRead(t *testing.T) {
	inches := System{Inch, Lbf}
	for _, c := range []struct {
		system System
		text   string
		length bool
		want   float64
	}{
		{Metric, "650", true, 650},
		{Metric, "25.5in", true, 647.7},
		{Metric, `25.5 "`, true, 647.7},
		{inches, "25.5", true, 647.7},
		{inches, "648 mm", true, 648},
		{Metric, "80", false, 80},
		{Metric, "80n", false, 80},
		{inches, "1", false, 4.448222},
		{Metric, "1 LBF", false, 4.448222},
		{Metric, "8kgf", false, 78.4532},
		{Metric, "8 kp", false, 78.4532},
	} {
		got, err := c.system.NOf(c.text)
		if c.length {
			got, err = c.system.MMOf(c.text)
		}
		if err != nil || math.Abs(got-c.want) > 1e-6*c.want {
			t.Errorf("%s %q: %v, %v, want %v", c.system, c.text, got, err, c.want)
		}
	}
	if x := inches.FromMM(647.7); math.Abs(x-25.5) > 1e-12 {
		t.Errorf("647.7 mm is %v in", x)
	}
	if x := inches.FromN(44.48222); math.Abs(x-10) > 1e-6 {
		t.Errorf("44.48222 N is %v lbf", x)
	}
}

func TestReadRefuses(t *testing.T) {
	for _, text := range []string{"", "mm", "-1", "0", "nan", "inf", "650 N", "650 cubits", "6 50", "1e999"} {
		if x, err := Metric.MMOf(text); err == nil {
			t.Errorf("length %q is %v", text, x)
		}
	}
	for _, text := range []string{"80 mm", "x"} {
		if x, err := Metric.NOf(text); err == nil {
			t.Errorf("tension %q is %v", text, x)
		}
	}
}

func TestParse(t *testing.T) {
	for text, want := range map[string]System{"in": {Inch, N}, "lbf": {MM, Lbf}, "in,lbf": {Inch, Lbf}, "kgf mm": {MM, Kgf}, "inch, LB": {Inch, Lbf}} {
		got, err := Metric.Parse(text)
		if err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
		if again, err := (System{Inch, Kgf}).Parse(got.String()); err != nil || again != got {
			t.Errorf("%s reads back as %v, %v", got, again, err)
		}
	}
	for _, text := range []string{"", ",", "feet", "mm,stone"} {
		if got, err := Metric.Parse(text); err == nil {
			t.Errorf("%q is %v", text, got)
		}
	}
}
