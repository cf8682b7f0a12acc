package evidence

import (
	"bytes"
	"context"
	"path/filepath"
	"testing"

	"tunerd/internal/accuracy/recorded"
)

// TestStrums reads recorded strums of a steel-string guitar with all their strings named, and two
// that do not sound. References come from partials that no other string has (testdata/wav/README.md).
func TestStrums(t *testing.T) {
	strums, err := recorded.ReadStrums(filepath.Join(wavDir, "strums"))
	if err != nil {
		t.Fatal(err)
	}
	outcomes, err := recorded.RunStrums(context.Background(), strums, false)
	if err != nil {
		t.Fatal(err)
	}
	var table bytes.Buffer
	if err := recorded.WriteStrums(&table, outcomes); err != nil {
		t.Fatal(err)
	}
	t.Logf("\n%s", &table)
	s := recorded.SummariseStrums(outcomes)
	if s.Strums != len(strums) {
		t.Errorf("%d of %d strums read", s.Strums, len(strums))
	}
	if float64(s.Missing) > 0.01*float64(s.Strings) {
		t.Errorf("%d of %d sounding strings told silent, want 1 %% at most", s.Missing, s.Strings)
	}
	if s.Invented+s.InventedOctaves > 0 {
		t.Errorf("%d silent strings and %d silent octaves told to sound", s.Invented, s.InventedOctaves)
	}
	if s.Confident > 0 {
		t.Errorf("%d readings more than 1 cent and 5σ off", s.Confident)
	}
	if covered := float64(s.Covered) / float64(s.Compared); covered < 0.93 {
		t.Errorf("±1.96σ covers %.0f %%, want 93 at least", 100*covered)
	}
}
