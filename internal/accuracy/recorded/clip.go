package recorded

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"tunerd/internal/capture"
)

// A Clip is one recorded note as its manifest describes it.
type Clip struct {
	Path       string
	Instrument string
	Class      string  // plucked, struck, bowed, wind, voice or bell
	Onset, End float64 // of the sound, s
	NominalHz  float64 // what is played, to within half a semitone: tells right from wrong
	RefHz      float64 // partial 1 under the stiff-string law; 0: no reference good enough to compare cents with
	RefSigma   float64 // standard uncertainty of RefHz, cents
	Flags      []string
}

// File is the name of the clip without its folder.
func (c Clip) File() string { return filepath.Base(c.Path) }

// A bell has no partials of a string; what a person calls its pitch is the strike note.
func (c Clip) bell() bool { return c.Class == "bell" }

// ManifestName is the file in a folder that describes its clips.
const ManifestName = "manifest.csv"

// ReadManifest reads the clips of a folder. Its manifest is a CSV table with a header and at least
// the columns file, instrument, class, attack_s, end_s, coarse_hz, ref_f1_hz, ref_sigma_cents and
// flags, in any order; ref_f1_hz and ref_sigma_cents may be empty.
func ReadManifest(dir string) ([]Clip, error) {
	path := filepath.Join(dir, ManifestName)
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows := csv.NewReader(f)
	header, err := rows.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	for _, column := range []string{"file", "instrument", "class", "attack_s", "end_s", "coarse_hz", "ref_f1_hz", "ref_sigma_cents", "flags"} {
		if !slices.Contains(header, column) {
			return nil, fmt.Errorf("%s: no column %q", path, column)
		}
	}
	var clips []Clip
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		c, err := parseClip(header, row)
		if err != nil {
			line, _ := rows.FieldPos(0)
			return nil, fmt.Errorf("%s:%d: %w", path, line, err)
		}
		c.Path = filepath.Join(dir, c.Path)
		clips = append(clips, c)
	}
	if len(clips) == 0 {
		return nil, fmt.Errorf("%s: no clips", path)
	}
	return clips, nil
}

func parseClip(header, row []string) (Clip, error) {
	var bad error
	cell := func(column string) string { return row[slices.Index(header, column)] }
	number := func(column string) float64 {
		v, err := strconv.ParseFloat(cell(column), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			bad = fmt.Errorf("%s: %q is no number", column, cell(column))
		}
		return v
	}
	c := Clip{
		Path: cell("file"), Instrument: cell("instrument"), Class: cell("class"),
		Onset: number("attack_s"), End: number("end_s"), NominalHz: number("coarse_hz"),
		Flags: strings.Fields(cell("flags")),
	}
	if cell("ref_f1_hz") != "" {
		c.RefHz, c.RefSigma = number("ref_f1_hz"), number("ref_sigma_cents")
	}
	if bad == nil && !(c.NominalHz > 0 && c.End > c.Onset && c.RefHz >= 0 && c.RefSigma >= 0) {
		bad = errors.New("a pitch that is not above 0 Hz, or an end before the onset")
	}
	return c, bad
}

// A Sound is what a clip holds: one channel of samples, full scale at 1.
type Sound struct {
	Rate    int // Hz
	Samples []float64
}

func readSound(ctx context.Context, path string) (Sound, error) {
	src, err := capture.Open(ctx, path, capture.Options{})
	if err != nil {
		return Sound{}, err
	}
	defer src.Close()
	s := Sound{Rate: src.SampleRate()}
	buf := make([]float64, 1<<16)
	for {
		block, err := src.Read(ctx, buf)
		s.Samples = append(s.Samples, block.Samples...)
		if errors.Is(err, io.EOF) {
			return s, nil
		}
		if err != nil {
			return s, err
		}
	}
}
