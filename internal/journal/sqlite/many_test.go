package sqlite

import (
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"tunerd/internal/journal"
	"tunerd/internal/journal/journaltest"
)

// fill stores n sessions of seven instruments, each with the open strings of a guitar.
func fill(t testing.TB, j *opened, n int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 0))
	start := time.UnixMilli(1.6e12)
	err := j.store.Merge(t.Context(), func(m journal.Merger) error {
		for i := range n {
			s := journaltest.Guitar()
			s.Strings = nil
			for k, hz := range guitarHz {
				s.Strings = append(s.Strings, journal.String{Number: k + 1, Label: "E4", TargetHz: hz, GaugeMM: 0.254, Material: "steel"})
			}
			s.UID, s.Readings = fmt.Sprintf("%016x", i), 6
			s.Instrument = fmt.Sprint("instrument ", i%7)
			s.Started = start.Add(time.Duration(rng.IntN(1e6)) * time.Minute)
			b := journal.Batch{First: 1}
			for k := range s.Readings {
				hz := guitarHz[k] * (1 + 1e-3*rng.Float64())
				b.Readings = append(b.Readings, journal.Reading{
					TimeS: float64(k), String: k + 1, Label: "E4", TargetHz: guitarHz[k], F1Hz: hz, SigmaCents: 0.02, Cents: rng.Float64(),
					AttackF1Hz: hz, Partial1Hz: hz, B: 1e-4, SNRdB: 40, FromS: journal.Unknown, ToS: journal.Unknown,
				})
			}
			var err error
			if s.ID, err = m.Add(&s); err == nil {
				err = m.Readings(&s, b)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// guitarHz are the open strings of a guitar in 12 equal steps from A4 = 440 Hz (ISO 16), rounded.
var guitarHz = [6]float64{329.63, 246.94, 196, 146.83, 110, 82.41}

// TestListingsStandOnIndexes asks SQLite how it would answer: by an index, in its order, so that a
// page of a listing costs the same however long the journal is; and readings by the range of
// their session alone.
func TestListingsStandOnIndexes(t *testing.T) {
	j := openNew(t)
	fill(t, j, 100)
	one := []journal.Instrument{{Name: "instrument 3"}}
	for _, c := range []struct {
		f    journal.Filter
		want string
	}{
		{journal.Filter{Last: 20}, "SCAN session USING COVERING INDEX session_list"},
		{journal.Filter{Instruments: one, Last: 20}, "SEARCH session USING INDEX session_by_instrument (identity=? AND instrument=?)"},
		{journal.Filter{Since: time.UnixMilli(1.6e12), Until: time.UnixMilli(1.7e12)}, "SEARCH session USING COVERING INDEX session_list (started_ms>? AND started_ms<?)"},
	} {
		query, args := chosen(c.f, listColumns)
		plan := explain(t, j, query, args...)
		if !strings.Contains(plan, c.want) {
			t.Errorf("%s\nis answered by\n%s\nwant %s", query, plan, c.want)
		}
		// Sorting the page that has been found is no matter.
		inner, _, _ := strings.Cut(plan, "SCAN (subquery")
		if strings.Contains(inner, "TEMP B-TREE") {
			t.Errorf("%s\nsorts:\n%s", query, plan)
		}
	}
	for _, f := range []journal.Filter{{}, {Instruments: one}} {
		query, args := walkQuery(f)
		plan := explain(t, j, query, args...)
		if want := "SEARCH b USING PRIMARY KEY (session_id=?)"; !strings.Contains(plan, want) || strings.Contains(plan, "TEMP B-TREE FOR ORDER BY") {
			t.Errorf("%s\nis answered by\n%s\nwant %s, and no sorting of all", query, plan, want)
		}
	}
}

func explain(t *testing.T, j *opened, query string, args ...any) string {
	t.Helper()
	rows, err := j.store.db.Query("EXPLAIN QUERY PLAN "+query, args...)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var plan []string
	for rows.Next() {
		var id, parent, unused int
		var step string
		if err := rows.Scan(&id, &parent, &unused, &step); err != nil {
			t.Fatal(err)
		}
		plan = append(plan, step)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return strings.Join(plan, "\n")
}

// Benchmarks of a journal of as many sessions as a shop keeps in many years.
const many = 100_000

// filled makes a journal of many sessions once for all benchmarks.
var filled = sync.OnceValues(func() (*opened, error) {
	dir, err := os.MkdirTemp("", "tunerd-bench-")
	if err != nil {
		return nil, err
	}
	benchFolder = dir
	return openAt(filepath.Join(dir, "journal.db"))
})

// benchFolder is where that journal lies; TestMain removes it.
var benchFolder string

func manySessions(b *testing.B) *opened {
	b.Helper()
	j, err := filled()
	if err != nil {
		b.Fatal(err)
	}
	if list, err := j.Sessions(b.Context(), journal.Filter{Last: 1}); err != nil {
		b.Fatal(err)
	} else if len(list) == 0 {
		fill(b, j, many)
	}
	return j
}

func BenchmarkList(b *testing.B) {
	j := manySessions(b)
	for name, f := range map[string]journal.Filter{
		"last20": {Last: 20}, "instrument": {Instruments: []journal.Instrument{{Name: "instrument 3"}}, Last: 20}, "all": {},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if list, err := j.Sessions(b.Context(), f); err != nil || len(list) == 0 {
					b.Fatal(len(list), err)
				}
			}
		})
	}
	b.Run("checked20", func(b *testing.B) {
		for b.Loop() {
			if d, err := j.Check(b.Context(), journal.Filter{Last: 20}); err != nil || d.Found() {
				b.Fatal(d, err)
			}
		}
	})
}

func BenchmarkDrift(b *testing.B) {
	j := manySessions(b)
	all, err := j.Instruments(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	for name, of := range map[string][]journal.Instrument{"one_of_seven": all[3:4], "all_sessions": all} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if d, err := j.Drift(b.Context(), of, time.Time{}); err != nil || len(d.Strings) != 6 || len(d.LeftOut) > 0 {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkCheck(b *testing.B) {
	j := manySessions(b)
	for b.Loop() {
		if d, err := j.Check(b.Context(), journal.Filter{}); err != nil || d.Found() {
			b.Fatal(d, err)
		}
	}
}

func BenchmarkExport(b *testing.B) {
	j := manySessions(b)
	for b.Loop() {
		if err := j.Export(b.Context(), io.Discard, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkImport(b *testing.B) {
	j := manySessions(b)
	path := filepath.Join(b.TempDir(), "all.jsonl")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	if err := j.Export(b.Context(), f, nil); err != nil {
		b.Fatal(err)
	}
	for n := 0; b.Loop(); n++ {
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			b.Fatal(err)
		}
		to, err := openAt(filepath.Join(b.TempDir(), "b.db"))
		if err != nil {
			b.Fatal(err)
		}
		count, err := to.Import(b.Context(), f, 0, nil)
		if err != nil || count.Sessions != many {
			b.Fatal(count, err)
		}
		to.Close()
	}
}
