package evidence

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"

	"tunerd/internal/testkit"
)

var wavDir = testkit.WAVDir()

// A clip is one recorded note of the manifest, or one that a test has made.
type clip struct {
	testkit.Recording
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
	recordings, err := testkit.Recordings()
	if err != nil {
		return nil, err
	}
	partials, err := readPartials()
	if err != nil {
		return nil, err
	}
	var clips []clip
	for _, r := range recordings {
		clips = append(clips, clip{r, partials[r.File]})
	}
	return clips, nil
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
