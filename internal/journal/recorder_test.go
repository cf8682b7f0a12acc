package journal

import "testing"

// TestAddNeverWaits adds while a transaction is held open: readings are taken in at once, however
// long that lasts. Add returns or the test hangs.
func TestAddNeverWaits(t *testing.T) {
	j := openNew(t)
	rec := j.Begin(Session{}, nil)
	rec.storing.Lock()
	for i := range 10000 {
		rec.Add(Reading{F1Hz: float64(i)})
	}
	rec.storing.Unlock()
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err := j.Session(t.Context(), rec.ID()); err != nil || s.Readings != 10000 {
		t.Errorf("%+v, %v", s, err)
	}
}
