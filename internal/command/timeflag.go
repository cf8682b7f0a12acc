package command

import (
	"errors"
	"time"
)

// A timeFlag is a time in the zone of the user.
type timeFlag struct{ t time.Time }

func (f *timeFlag) Type() string { return "TIME" }

func (f *timeFlag) String() string {
	if f.t.IsZero() {
		return ""
	}
	return f.t.Format(time.RFC3339)
}

func (f *timeFlag) Set(s string) (err error) {
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02"} {
		if f.t, err = time.ParseInLocation(layout, s, time.Local); err == nil {
			return nil
		}
	}
	return errors.New(`write a day such as 2026-01-31, or "2026-01-31 18:00"`)
}
