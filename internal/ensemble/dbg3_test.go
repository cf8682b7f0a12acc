package ensemble

import (
	"flag"
	"fmt"
	"math"
	"path/filepath"
	"testing"
)

var dbgFile = flag.String("file", "", "")
var dbgFrom = flag.Float64("from", 0.7, "")
var dbgTo = flag.Float64("to", 1.7, "")

func TestRec(t *testing.T) {
	const dir = "../../testdata/wav/chords"
	var s []String
	file := ""
	for _, row := range table(t, filepath.Join(dir, "chords.csv")) {
		if row["file"][:7] != *dbgFile {
			continue
		}
		file = row["file"]
		midi := number(t, row["midi"])
		s = append(s, String{Number: len(s) + 1, Label: row["nominal"], Hz: 440 * math.Exp2((midi-69)/12)})
		fmt.Println(row["nominal"], row["ref_f1_hz"], row["cents_vs_12tet_a440"], row["B"])
	}
	x, fs := load(t, filepath.Join(dir, file))
	r, _ := NewReader(Config{SampleRate: fs, Strings: s})
	debugFit = func(r *Reader, what string) {
		if what != "weighed" {
			return
		}
		fmt.Println(what, "active", len(r.fit.active), "clusters", len(r.fit.clusters), "white", 10*math.Log10(r.fit.white))
		for i := range r.voices {
			v := &r.voices[i]
			fmt.Printf("   s%d cand %v %.3f ± %.3f (search %.2f) B %.3g ± %.2g bend %.3f heard %d (%d of %d)\n", i+1, v.candidate, centsPerNeper*logRatio(v.f1, v.target), v.sigma, centsPerNeper*logRatio(v.firstF1, v.target), v.b, v.sigmaB, v.bend*centsPerNeper, v.heard, v.low, v.tested)
		}
		for _, a := range r.fit.active {
			p := r.fit.partials[a]
			fmt.Printf("  %8.2f %s k%d cl%d c %.1f doubt %.1f off %.2f extra %.3g alpha %.2f heard %v\n", p.hz, s[p.voice].Label, p.k, p.cluster, 10*math.Log10(norm(p.c)), 10*math.Log10(p.doubt*standsOut), p.off, p.extra, p.alpha, p.heard)
		}
	}
	r.Read(x[int(*dbgFrom*fs):int(*dbgTo*fs)])
	for _, p := range r.spectrum.peaks {
		fmt.Printf("peak %.2f %.1f\n", p.hz, p.db)
	}
}
