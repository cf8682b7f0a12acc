package ensemble

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"tunerd/internal/capture"
)

func load(t *testing.T, path string) ([]float64, float64) {
	t.Helper()
	src, err := capture.Open(context.Background(), path, capture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	var x []float64
	room := make([]float64, 4096)
	for {
		b, err := src.Read(context.Background(), room)
		if errors.Is(err, io.EOF) {
			return x, float64(src.SampleRate())
		}
		if err != nil {
			t.Fatal(err)
		}
		x = append(x, b.Samples...)
	}
}

func table(t *testing.T, path string) []map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			m[name] = row[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestRecordedTry(t *testing.T) {
	const dir = "../../testdata/wav/chords"
	files := map[string][]map[string]string{}
	var order []string
	for _, row := range table(t, filepath.Join(dir, "chords.csv")) {
		if files[row["file"]] == nil {
			order = append(order, row["file"])
		}
		files[row["file"]] = append(files[row["file"]], row)
	}
	var within, covered, hidden, silent, wrong int
	defer func() {
		fmt.Println("within", within, "covered", covered, "hidden", hidden, "silent", silent, "wrong", wrong)
	}()
	for _, file := range order {
		rows := files[file]
		x, fs := load(t, filepath.Join(dir, file))
		var s []String
		for i, row := range rows {
			midi := number(t, row["midi"])
			s = append(s, String{Number: i + 1, Label: row["nominal"], Hz: 440 * math.Exp2((midi-69)/12)})
		}
		r, err := NewReader(Config{SampleRate: fs, Strings: s})
		if err != nil {
			t.Fatal(err)
		}
		for _, win := range [][2]float64{{0.36, 2.06}, {0.36, 1.36}, {0.7, 1.7}, {1, 2}} {
			got, err := r.Read(x[int(win[0]*fs):int(win[1]*fs)])
			if err != nil {
				t.Fatal(err)
			}
			fmt.Println(file, float64(len(x))/fs, win, "scatter", r.fit.scatter)
			for i, g := range got {
				if e := math.Abs(centsPerNeper * math.Log(g.F1Hz/number(t, rows[i]["ref_f1_hz"]))); e < 2 {
					within++
				} else if e < 1.96*g.SigmaCents {
					covered++
				} else if g.Hidden {
					hidden++
				} else if g.Sounding {
					wrong++
				} else {
					silent++
				}
				ref := number(t, rows[i]["ref_f1_hz"])
				fmt.Printf("   %-3s %7.2f err %+.2f ± %.2f (ref ± %.2f drift %s) B %.3g (%s) heard %d %v drift %.1f level %.0f snr %.0f %v\n", g.String.Label, ref, centsPerNeper*math.Log(g.F1Hz/ref), g.SigmaCents, number(t, rows[i]["ref_sigma_cents"]), rows[i]["drift_cents"], g.B, rows[i]["B"], g.Heard, map[bool]string{true: "HIDDEN"}[g.Hidden], g.DriftCents, g.LevelDB, g.SNRdB, rows[i]["flags"])
			}
		}
	}
}
