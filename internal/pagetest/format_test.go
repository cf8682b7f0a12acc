package pagetest

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"tunerd/internal/display"
	"tunerd/internal/targets"
)

// Figures on the page have the digits that they have in the terminal.
func TestFiguresAreWrittenAsInTheTerminal(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	type row struct{ Cents, Sigma, Hz float64 }
	var rows []row
	for _, sigma := range []float64{0, 0.0004, 0.0049, 0.021, 0.094, 0.096, 0.3, 0.94, 0.96, 4, 40} {
		for _, c := range []float64{0, 0.04, -0.04, 1.2374, -1.2374, 3.14159, -12.6, 49.95} {
			rows = append(rows, row{c, sigma, 146.8324 + c})
		}
	}
	data, err := json.Marshal(rows)
	if err != nil {
		t.Fatal(err)
	}
	got := eval[[][]string](p, fmt.Sprintf(`import('/js/format.js').then((f) => %s.map((r) => [f.cents(r.Cents, r.Sigma), f.sigmaText(r.Sigma), f.hz(r.Hz, r.Sigma), f.beat(r.Cents, r.Hz, r.Sigma)]))`, data))
	for i, r := range rows {
		want := []string{display.Cents(r.Cents, r.Sigma), display.Sigma(r.Sigma), display.Hz(r.Hz, r.Sigma), display.BeatHz(r.Cents, r.Hz, r.Sigma)}
		for k := range want {
			// The two languages may round a tie in the last binary digit differently; none of these is one.
			if want := strings.ReplaceAll(want[k], "-", "−"); got[i][k] != want {
				t.Errorf("%+v: the page writes %q, the terminal %q", r, got[i][k], want)
			}
		}
	}
}

// The page counts ratios from any note; they are those that the tuner finds.
func TestRatiosAreThoseOfTheTuner(t *testing.T) {
	needBrowser(t)
	p := open(t, serve(t, "--input", "demo"), "")
	type near struct {
		Ratio string
		Off   float64
	}
	got := eval[[]near](p, `import('/js/board/ratio.js').then(({ nearestRatio }) => Array.from({ length: 1201 }, (_, i) => {
  const r = nearestRatio(-2400 + 5.03 * i); return { Ratio: r.ratio, Off: r.off };
}))`)
	for i, g := range got {
		c := -2400 + 5.03*float64(i)
		want, off := targets.NearestRatio(c, 15)
		if g.Ratio != want.String() || g.Off-off > 1e-9 || off-g.Off > 1e-9 {
			t.Errorf("%.2f cents: the page says %s %+.4f, the tuner %s %+.4f", c, g.Ratio, g.Off, want, off)
		}
	}
}
