package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/accuracy"
	"tunerd/internal/accuracy/reader"
)

// regressionTrials is the size of the run in the ordinary tests. A goal is missed only beyond three
// standard errors at this size (accuracy.Goals): a pooled ratio by 12 %, a pooled coverage by 4
// points, a single cell by half. The seed is fixed, so that a run repeats.
const (
	regressionTrials = 20
	regressionSeed   = 1
)

// TestNoGoalIsLost runs the small set and fails where a goal is missed.
func TestNoGoalIsLost(t *testing.T) {
	report, err := measure(t.Context(), options{seed: regressionSeed, trials: regressionTrials, set: "small"})
	if err != nil {
		t.Fatal(err)
	}
	goals := accuracy.DefaultGoals()
	for _, p := range report.Pools(goals) {
		t.Logf("%-36s RMSE over the bound %7.2f, coverage %.1f %%, %d of %d read", p.Name, p.Ratio, 100*p.Coverage(), p.Read, p.Trials)
	}
	for _, f := range report.Failures(goals) {
		t.Errorf("seed %d, %d trials: %v", regressionSeed, regressionTrials, f)
	}
}

func TestBadOptions(t *testing.T) {
	_, err := measure(t.Context(), options{trials: 1, set: "huge"})
	if err == nil || !strings.Contains(err.Error(), `"huge"`) || !strings.Contains(err.Error(), "quick") {
		t.Errorf("set huge: %v", err)
	}
	if _, err := measure(t.Context(), options{trials: 0, set: "small"}); err == nil {
		t.Error("a run of no trials has a report")
	}
	for _, o := range []options{{trials: 1, set: "plucks", dir: t.TempDir()}, {trials: 1, set: "full", dir: "/nonexistent"}, {trials: 1, set: "full", dir: "main.go"}} {
		if _, err := measure(t.Context(), o); err == nil {
			t.Errorf("a page of set %s in %s is promised", o.set, o.dir)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := measure(ctx, options{trials: 1, set: "small"}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled run: %v", err)
	}
}

func TestPageIsWritten(t *testing.T) {
	cells := accuracy.Full().Cells[:1]
	report, err := accuracy.Run(t.Context(), accuracy.Config{Seed: 1, Trials: 1, New: reader.NewEstimate, Cells: cells})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := writePage(dir, report, accuracy.DefaultGoals()); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "accuracy.md"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(page, intro) || !bytes.Contains(page, []byte("| "+cells[0].Name+" | ")) {
		t.Error("the page is not the introduction and the tables")
	}
	if _, err := os.Stat(filepath.Join(dir, "accuracy.svg")); err != nil {
		t.Error(err)
	}
}

// TestPageIsCurrent holds the published page to the introduction and to the cells of the full set;
// its figures are written by make accuracy-doc.
func TestPageIsCurrent(t *testing.T) {
	page, err := os.ReadFile("../../../docs/accuracy.md")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(page, intro) {
		t.Error("docs/accuracy.md has another introduction: run make accuracy-doc")
	}
	set := accuracy.Full()
	rows := bytes.Count(page, []byte("\n| "))
	if want := len(set.Cells) + len(set.Registers) + len(set.Plucks); rows < want {
		t.Errorf("docs/accuracy.md has %d rows, the full set %d: run make accuracy-doc", rows, want)
	}
}
