package engine

import (
	"math"
	"testing"

	"tunerd/internal/capture"
)

// A sizedScript is a script that knows its length.
type sizedScript struct {
	script
	samples int64
}

func (s *sizedScript) Len() int64 { return s.samples }

func TestProgressCountsFilesAlike(t *testing.T) {
	p := &Progress{}
	p.expect(4)
	long := progressPart{whole: p}
	long.expect(&sizedScript{samples: 1000})
	long.read(500)
	unknown := progressPart{whole: p}
	unknown.expect(&script{})
	unknown.read(500)
	if got := p.Fraction(); got != 0.5/4 {
		t.Errorf("half of one file of 4 is %v, want 0.125", got)
	}
	unknown.finish()
	long.read(900) // more than was announced
	long.finish()
	missing := progressPart{whole: p} // a file that could not be opened
	missing.finish()
	if got := p.Fraction(); math.Abs(got-0.75) > 1e-12 {
		t.Errorf("three files of 4 are %v, want 0.75", got)
	}
}

func TestMeasureFinishesItsProgress(t *testing.T) {
	b := &bench{files: map[string]*script{"a": {rate: 1000, steps: blocks(3, 10)}}}
	cfg := b.config(2)
	cfg.Progress = &Progress{}
	if err := Measure(t.Context(), []string{"a", "missing"}, cfg); err != nil {
		t.Fatal(err)
	}
	if got := cfg.Progress.Fraction(); got != 1 {
		t.Errorf("%v done at the end, want 1", got)
	}
}

var _ capture.Source = (*sizedScript)(nil)
