package evidence

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const wavDir = "../../testdata/wav"

// A clip is one recorded note of the manifest.
type clip struct {
	File     string
	Midi     int     // nominal note
	RefHz    float64 // partial 1 under the fitted law, over the window
	RefSigma float64 // standard uncertainty of RefHz, cents
	Attack   float64 // s from the start of the clip
	From, To float64 // window of the reference, s from the start of the clip
	Flags    []string
	Partials []partial
}

// A partial is one measured partial of a clip.
type partial struct {
	K  int     `json:"k"`
	Hz float64 `json:"f"`
	DB float64 `json:"db"` // level, dB re the strongest
}

// path is the clip's file: of the recordings, or made by a test somewhere else.
func (c clip) path() string {
	if filepath.IsAbs(c.File) {
		return c.File
	}
	return filepath.Join(wavDir, c.File)
}

// periodBias returns by how many cents the period of the clip is sharp of its reference:
// what a reader that looks for the lag of greatest self-similarity has to find, by no fault of
// its own, because the partials of a stiff string are not multiples of one frequency.
//
// It is the lag near 1/f1 that maximises Σ a_k²·cos(2π·f_k·τ) over the measured partials, the
// autocorrelation of their sum (Wiener-Khinchin). Their levels are means over the window.
func (c clip) periodBias() float64 {
	best, bestLag := math.Inf(-1), 0.0
	for cents := -100.0; cents <= 100; cents += 0.02 {
		lag := math.Exp2(-cents/1200) / c.RefHz
		sum := 0.0
		for _, p := range c.Partials {
			sum += math.Pow(10, p.DB/10) * math.Cos(2*math.Pi*p.Hz*lag)
		}
		if sum > best {
			best, bestLag = sum, lag
		}
	}
	return cents(1/bestLag, c.RefHz)
}

func cents(hz, ref float64) float64 { return 1200 * math.Log2(hz/ref) }

func readClips() ([]clip, error) {
	f, err := os.Open(filepath.Join(wavDir, "manifest.csv"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	partials, err := readPartials()
	if err != nil {
		return nil, err
	}
	var clips []clip
	for _, row := range rows[1:] {
		c, err := parseClip(rows[0], row)
		if err != nil {
			return nil, err
		}
		c.Partials = partials[c.File]
		clips = append(clips, c)
	}
	return clips, nil
}

func parseClip(header, row []string) (clip, error) {
	var err error
	field := func(name string) string {
		i := slices.Index(header, name)
		if i < 0 {
			err = errors.Join(err, fmt.Errorf("manifest.csv has no column %q", name))
			return ""
		}
		return row[i]
	}
	number := func(name string) float64 {
		v, bad := strconv.ParseFloat(field(name), 64)
		err = errors.Join(err, bad)
		return v
	}
	return clip{
		File:     field("file"),
		Midi:     int(number("midi")),
		RefHz:    number("ref_f1_hz"),
		RefSigma: number("ref_sigma_cents"),
		Attack:   number("attack_s"),
		From:     number("win_start_s"),
		To:       number("win_end_s"),
		Flags:    strings.Fields(field("flags")),
	}, err
}

func readPartials() (map[string][]partial, error) {
	data, err := os.ReadFile(filepath.Join(wavDir, "partials.json"))
	if err != nil {
		return nil, err
	}
	var partials map[string][]partial
	err = json.Unmarshal(data, &partials)
	return partials, err
}

// need skips the test where a tool is missing, or fails it on a machine that must have all.
func need(t testing.TB, tool, debianPackage string) {
	t.Helper()
	if _, err := exec.LookPath(tool); err == nil {
		return
	}
	if os.Getenv("TUNERD_CI") == "1" {
		t.Fatalf("%s is missing (Debian package %s)", tool, debianPackage)
	}
	t.Skipf("%s is missing (Debian package %s)", tool, debianPackage)
}
