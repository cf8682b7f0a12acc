package evidence

import (
	"bytes"
	"context"
	"path/filepath"
	"slices"
	"testing"

	"tunerd/internal/accuracy/recorded"
	"tunerd/internal/testkit"
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
	if float64(s.Hidden) > 0.08*float64(s.Strings) {
		t.Errorf("%d of %d sounding strings told perhaps hidden, want 8 %% at most", s.Hidden, s.Strings)
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

// unsteady are strums of which strings came and went with the cut or the sample rate: low strings that beat
// were taken for stopped, and a string was told silent that was only not told apart.
var unsteady = []string{"kl0-20.55-C-phone.flac", "kl2-22.75-G-line.flac"}

// TestStrumsWhereverCut reads strums with up to 0.2 s cut off their ends and at another sample rate: no
// string that sounds in one is silent in another. All 38 are read so by recordings -strums.
func TestStrumsWhereverCut(t *testing.T) {
	testkit.NeedTool(t, "sox", "sox")
	strums, err := recorded.ReadStrums(filepath.Join(wavDir, "strums"))
	if err != nil {
		t.Fatal(err)
	}
	strums = slices.DeleteFunc(strums, func(s recorded.Strum) bool { return !slices.Contains(unsteady, s.File()) })
	if len(strums) != len(unsteady) {
		t.Fatalf("%d of %d strums found", len(strums), len(unsteady))
	}
	outcomes, err := recorded.RunStrums(context.Background(), strums, true)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range outcomes {
		if o.Err != nil || o.Flips > 0 {
			t.Errorf("%s: %d strings change with the cut; %v", o.Strum.File(), o.Flips, o.Err)
		}
	}
}
