package journal

import "testing"

func openNew(t testing.TB) *Journal {
	t.Helper()
	j := New(NewMemory())
	t.Cleanup(func() { j.Close() })
	return j
}

func keep(t testing.TB, j *Journal, s Session, readings ...Reading) int64 {
	t.Helper()
	rec := j.Begin(s, func(line string) { t.Error(line) })
	for _, r := range readings {
		rec.Add(r)
	}
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	return rec.ID()
}
