package evidence

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tunerd/internal/testkit"
)

// A reader is another program's method of reading a pitch. All three look for a period, so on
// stiff strings they must read sharp of partial 1 by clip.periodBias.
type reader struct {
	name, tool, debian string
	read               func(t *testing.T, c clip) float64 // Hz, median over the clip's window
	cents              float64                            // agreement that the method can give
	unlike             map[string]deviation               // clips on which it can not
}

// A deviation says why a reader and the prediction may differ by more on one clip.
type deviation struct {
	cents float64
	why   string
}

// beyond is for clips on which a reader gives no pitch to compare with.
var beyond = math.Inf(1)

const fading = "the upper partials fade within the window, so their mean levels do not predict the period"

var readers = []reader{
	{"Praat, autocorrelation", "praat", "praat", readPraat, 1.5, map[string]deviation{
		"egtr-black-btb-A2.flac": {beyond, "plucked behind the bridge: fundamental 46 dB down, Praat takes longer periods"},
		"egtr-green-ord-E2.flac": {2.5, "the pitch drifts by 6 cents: median and mean differ"},
		"banjo-As3.flac":         {4.5, fading},
		"piano-A4.flac":          {3.5, fading},
		"bass5th-A0-f.flac":      {6, "the pitch drifts by 5 cents and the reference is uncertain by 1.3"},
		"flute-E4.flac":          {2.5, "vibrato: median and mean differ"},
	}},
	{"aubio yin", "aubiopitch", "aubio-tools", readAubio("yinfast"), 2, map[string]deviation{
		"egtr-black-btb-A2.flac": {beyond, "plucked behind the bridge: fundamental 46 dB down, it takes a high partial"},
		"banjo-As3.flac":         {4.5, fading},
		"piano-A4.flac":          {7.5, fading},
		"bass5th-A0-f.flac":      {4, "the pitch drifts by 5 cents and the reference is uncertain by 1.3"},
		"flute-E4.flac":          {2.5, "vibrato: median and mean differ"},
	}},
	// yinfft weights the spectrum by loudness first, which lifts the upper, sharper partials.
	{"aubio yinfft", "aubiopitch", "aubio-tools", readAubio("yinfft"), 10, map[string]deviation{
		"egtr-black-btb-A2.flac": {beyond, "plucked behind the bridge: fundamental 46 dB down, it takes a high partial"},
		"piano-Ds7.flac":         {beyond, "it takes two periods for one"},
		"piano-A4.flac":          {12, fading},
	}},
}

// TestReaders compares tunerd with each independent reader on the same recordings and windows:
// reader minus tunerd must be the period's own bias, within what the method can give and three
// standard uncertainties of tunerd's own (which on two dead bass strings are what counts).
func TestReaders(t *testing.T) {
	for _, r := range readers {
		t.Run(strings.ReplaceAll(r.name, " ", "-"), func(t *testing.T) {
			testkit.NeedTool(t, r.tool, r.debian)
			r.compare(t)
		})
	}
}

func (r reader) compare(t *testing.T) {
	var table bytes.Buffer
	fmt.Fprintf(&table, "%-30s %10s %10s %9s %9s %7s\n", "clip", "tunerd Hz", "reader Hz", "differ c", "predicted", "within")
	for _, m := range measuredClips(t) {
		hz, bias, within := r.read(t, m.clip), m.clip.periodBias(), r.cents
		deviation, unlike := r.unlike[m.clip.File]
		if unlike {
			within = deviation.cents
		}
		within += 3 * m.note.SigmaCents
		differ := cents(hz, m.note.F1Hz)
		fmt.Fprintf(&table, "%-30s %10.4f %10.4f %+9.2f %+9.2f %7.1f  %s\n", m.clip.File, m.note.F1Hz, hz, differ, bias, within, deviation.why)
		if !(math.Abs(differ-bias) <= within) {
			t.Errorf("%s: %s reads %+.2f cents against tunerd, predicted %+.2f, want within %.1f", m.clip.File, r.name, differ, bias, within)
		}
	}
	t.Logf("%s\n%s", r.name, &table)
}

// register gives the reader what a user of it would set for the instrument: the lowest and the
// highest pitch to look for, Hz, and the analysis window, samples.
func register(midi int) (floor, ceiling float64, window int) {
	switch {
	case midi < 36:
		return 20, 200, 8192
	case midi < 48:
		return 40, 400, 8192
	case midi < 60:
		return 60, 800, 4096
	case midi < 72:
		return 120, 800, 2048
	case midi < 84:
		return 120, 2000, 2048
	}
	return 1300, 5000, 2048
}

func readPraat(t *testing.T, c clip) float64 {
	t.Helper()
	path, err := filepath.Abs(c.path())
	if err != nil {
		t.Fatal(err)
	}
	floor, ceiling, _ := register(c.Midi)
	out := run(t, "praat", "--run", "testdata/pitch.praat", path, number(floor), number(ceiling), number(c.From), number(c.To))
	hz, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
	if err != nil {
		t.Fatalf("praat on %s: %v", c.File, err)
	}
	return hz
}

func readAubio(method string) func(*testing.T, clip) float64 {
	return func(t *testing.T, c clip) float64 {
		t.Helper()
		_, _, window := register(c.Midi)
		out := run(t, "aubiopitch", "-i", c.path(), "-p", method, "-B", strconv.Itoa(window), "-H", "512", "-r", "0")
		var in []float64
		for s := bufio.NewScanner(bytes.NewReader(out)); s.Scan(); {
			var at, hz float64
			if _, err := fmt.Sscan(s.Text(), &at, &hz); err != nil {
				t.Fatalf("aubiopitch on %s: %q: %v", c.File, s.Text(), err)
			}
			if at >= c.From && at <= c.To && hz > 0 {
				in = append(in, hz)
			}
		}
		if len(in) == 0 {
			t.Fatalf("aubiopitch -p %s gives no pitch on %s", method, c.File)
		}
		slices.Sort(in)
		return in[len(in)/2]
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func run(t testing.TB, name string, args ...string) []byte {
	t.Helper()
	var stderr bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, &stderr)
	}
	return out
}
