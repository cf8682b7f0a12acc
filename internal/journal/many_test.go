package journal

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// fill stores n sessions of some instruments, each with the open strings of a guitar.
func fill(t testing.TB, j *Journal, n int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 0))
	start := time.UnixMilli(1.6e12)
	err := j.inTx(t.Context(), func(tx *sql.Tx) error {
		for i := range n {
			s := guitar()
			s.UID, s.Readings = fmt.Sprintf("%016x", i), 6
			s.Instrument = fmt.Sprint("instrument ", i%7)
			s.Started = start.Add(time.Duration(rng.IntN(1e6)) * time.Minute)
			readings := make([]Reading, s.Readings)
			for k := range readings {
				readings[k] = Reading{String: k + 1, F1Hz: 100 + rng.Float64(), SigmaCents: 0.02}
			}
			rec := Recorder{}
			if _, err := rec.put(t.Context(), tx, &s, readings); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// BenchmarkListTenThousand lists the last 20 of ten thousand sessions, those of one instrument,
// and all of them.
func BenchmarkListTenThousand(b *testing.B) {
	j := openNew(b)
	fill(b, j, 10000)
	for name, f := range map[string]Filter{
		"last20": {Last: 20}, "instrument": {Instrument: "instrument 3", Last: 20}, "all": {},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if list, err := j.Sessions(b.Context(), f); err != nil || len(list) == 0 {
					b.Fatal(len(list), err)
				}
			}
		})
	}
}

// TestListingsStandOnIndexes asks SQLite how it would answer: by an index, in its order, so that a
// page of a listing costs the same however long the journal is; and readings by the range of
// their session alone.
func TestListingsStandOnIndexes(t *testing.T) {
	j := openNew(t)
	fill(t, j, 100)
	last, lastArgs := Filter{Last: 20}.query()
	named, namedArgs := Filter{Instrument: "instrument 3", Last: 20}.query()
	span, spanArgs := Filter{Since: time.UnixMilli(1.6e12), Until: time.UnixMilli(1.7e12)}.query()
	for _, c := range []struct {
		query string
		args  []any
		want  string
	}{
		{last, lastArgs, "SCAN session USING COVERING INDEX session_list"},
		{named, namedArgs, "SEARCH session USING INDEX session_by_instrument (instrument=?)"},
		{span, spanArgs, "SEARCH session USING COVERING INDEX session_list (started_ms>? AND started_ms<?)"},
		{readingsQuery, []any{1}, "SEARCH reading USING PRIMARY KEY (session_id=?)"},
	} {
		plan := explain(t, j, c.query, c.args...)
		if !strings.Contains(plan, c.want) {
			t.Errorf("%s\nis answered by\n%s\nwant %s", c.query, plan, c.want)
		}
		// Sorting the page that has been found is no matter.
		inner, _, _ := strings.Cut(plan, "SCAN (subquery")
		if strings.Contains(inner, "TEMP B-TREE") {
			t.Errorf("%s\nsorts:\n%s", c.query, plan)
		}
	}
}

func explain(t *testing.T, j *Journal, query string, args ...any) string {
	t.Helper()
	rows, err := j.db.Query("EXPLAIN QUERY PLAN "+query, args...)
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
