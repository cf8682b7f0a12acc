package bench

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"tunerd/internal/journal"
)

const maxSessions = 1000 // listed at a time

// journalAnswers are the requests about the journal.
func (b *Bench) journalAnswers() map[string]answer {
	return map[string]answer{
		"GET /api/journal/sessions":           b.getSessions,
		"GET /api/journal/sessions/{id}":      b.getKept,
		"PUT /api/journal/sessions/{id}/note": b.putNote,
		"DELETE /api/journal/sessions/{id}":   b.deleteKept,
		"GET /api/journal/drift":              b.getDrift,
		"POST /api/journal/events":            b.postEvent,
	}
}

type keptSession struct {
	ID         int64  `json:"id"`
	Kind       string `json:"kind"`
	Started    string `json:"started"`
	Ended      string `json:"ended"` // empty while it runs, and for one that was broken off
	Input      string `json:"input"`
	Instrument string `json:"instrument"`
	Tuning     string `json:"tuning"`
	Reference  string `json:"reference"`
	Plan       string `json:"plan"`
	Note       string `json:"note"`
	Readings   int    `json:"readings"`
}

func (b *Bench) withJournal(use func(*journal.Journal) error) error {
	if b.cfg.Journal == nil {
		return journal.ErrNone
	}
	return b.cfg.Journal(use)
}

func (b *Bench) getSessions(r *asked) (any, error) {
	q := query{values: r.Query}
	instrument := q.text("instrument", "")
	filter := journal.Filter{Kind: q.text("kind", ""), Last: q.whole("last", 200, 1, maxSessions)}
	if err := q.end(); err != nil {
		return nil, err
	}
	list := []keptSession{}
	err := b.withJournal(func(j *journal.Journal) error {
		if instrument != "" {
			of, err := b.inJournal(r.ctx, j, instrument)
			if err != nil || len(of) == 0 {
				return err
			}
			filter.Instruments = of
		}
		sessions, err := j.Sessions(r.ctx, filter)
		for i := range sessions {
			list = append(list, describeKept(&sessions[i]))
		}
		return err
	})
	if errors.Is(err, journal.ErrNone) {
		err = nil
	}
	return struct {
		Sessions []keptSession `json:"sessions"`
	}{list}, err
}

// inJournal returns the names under which the journal knows an instrument: one of the catalogue, or as
// sessions are listed.
func (b *Bench) inJournal(ctx context.Context, j *journal.Journal, name string) ([]journal.Instrument, error) {
	return j.Find(ctx, b.asked(name))
}

// asked is what is known of an instrument that a client names.
func (b *Bench) asked(name string) journal.Instrument {
	if in, err := b.cfg.Catalog.Instrument(name); err == nil {
		return journal.Instrument{Name: in.ID, Identity: in.Identity(), Strings: len(in.Strings)}
	}
	return journal.Instrument{Name: name}
}

func describeKept(s *journal.Session) keptSession {
	return keptSession{s.ID, s.Kind, stamp(s.Started), stamp(s.Ended), s.Input, s.Instrument, s.Tuning, s.Reference, s.Plan, s.Note, s.Readings}
}

// stamp writes a time as RFC 3339 has it; empty for none.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339)
}

func (b *Bench) getKept(r *asked) (any, error) {
	var got struct {
		Session  keptSession       `json:"session"`
		Readings []journal.Reading `json:"readings"`
	}
	err := b.onSession(r, func(ctx context.Context, j *journal.Journal, id int64) error {
		session, err := j.Session(ctx, id)
		if err != nil {
			return err
		}
		got.Session = describeKept(session)
		readings, err := j.Readings(ctx, id)
		got.Readings = append([]journal.Reading{}, readings...)
		return err
	})
	return &got, err
}

// onSession does something with the session that the path of a request names.
func (b *Bench) onSession(r *asked, do func(context.Context, *journal.Journal, int64) error) error {
	id, err := strconv.ParseInt(r.value("id"), 10, 64)
	if err != nil {
		return fmt.Errorf("session %.40q is no number", r.value("id"))
	}
	err = b.withJournal(func(j *journal.Journal) error { return do(r.ctx, j, id) })
	if errors.Is(err, journal.ErrNoSession) || errors.Is(err, journal.ErrNone) {
		return Refusal{statusNotFound, codeNotFound, fmt.Sprintf("session %d is not in the journal", id)}
	}
	return err
}

func (b *Bench) putNote(r *asked) (any, error) {
	var body struct {
		Note string `json:"note"`
	}
	if err := r.read(&body); err != nil {
		return nil, err
	}
	err := b.onSession(r, func(ctx context.Context, j *journal.Journal, id int64) error { return j.Note(ctx, id, body.Note) })
	return struct{}{}, err
}

func (b *Bench) deleteKept(r *asked) (any, error) {
	err := b.onSession(r, func(ctx context.Context, j *journal.Journal, id int64) error { return j.Delete(ctx, []int64{id}, nil) })
	return struct{}{}, err
}

type driftAnswer struct {
	Instrument string        `json:"instrument"`
	Strings    []stringDrift `json:"strings"`
	Restrung   []restrung    `json:"restrung"`
	LeftOut    []string      `json:"left_out"`
}

type stringDrift struct {
	*journal.StringDrift
	Since    string    `json:"since"`
	Sittings []sitting `json:"sittings"`
}

type sitting struct {
	Session    int64   `json:"session"`
	At         string  `json:"at"`
	Found      float64 `json:"found_cents"`
	FoundSigma float64 `json:"found_sigma_cents"`
	Left       float64 `json:"left_cents"`
	LeftSigma  float64 `json:"left_sigma_cents"`
}

type restrung struct {
	At     string `json:"at"`
	String int    `json:"string"` // 0: all
	Text   string `json:"text"`
}

func (b *Bench) getDrift(r *asked) (any, error) {
	q := query{values: r.Query}
	instrument := q.text("instrument", "")
	if err := q.end(); err != nil {
		return nil, err
	}
	got := driftAnswer{Instrument: instrument, Strings: []stringDrift{}, Restrung: []restrung{}, LeftOut: []string{}}
	err := b.withJournal(func(j *journal.Journal) error {
		of, err := b.inJournal(r.ctx, j, instrument)
		if err != nil {
			return err
		}
		drift, err := j.Drift(r.ctx, of, time.Time{})
		if err == nil {
			got.tell(drift)
		}
		return err
	})
	if errors.Is(err, journal.ErrNone) {
		err = nil
	}
	return &got, err
}

func (a *driftAnswer) tell(d *journal.Drift) {
	for i := range d.Strings {
		x := &d.Strings[i]
		row := stringDrift{x, stamp(x.Since), []sitting{}}
		for _, y := range x.Sittings {
			row.Sittings = append(row.Sittings, sitting{y.Session, stamp(y.Found.At), y.Found.Cents, y.Found.SigmaCents,
				y.Left.Cents, y.Left.SigmaCents})
		}
		a.Strings = append(a.Strings, row)
	}
	for i := range d.LeftOut {
		a.LeftOut = append(a.LeftOut, d.LeftOut[i].Words())
	}
	for _, x := range d.Restrung {
		a.Restrung = append(a.Restrung, restrung{stamp(x.At), x.String, x.Text})
	}
}

// postEvent tells the journal that strings were changed, or something else worth a line.
func (b *Bench) postEvent(r *asked) (any, error) {
	var body struct {
		Instrument string `json:"instrument"`
		String     int    `json:"string"`
		Kind       string `json:"kind"`
		Text       string `json:"text"`
	}
	if err := r.read(&body); err != nil {
		return nil, err
	}
	if body.Kind != journal.NewStrings && body.Kind != journal.Remark {
		return nil, fmt.Errorf("kind %.40q is neither %q nor %q", body.Kind, journal.NewStrings, journal.Remark)
	}
	var got struct {
		ID int64 `json:"id"`
	}
	err := b.withJournal(func(j *journal.Journal) (err error) {
		of, err := b.inJournal(r.ctx, j, body.Instrument)
		if err != nil {
			return err
		}
		if len(of) == 0 {
			if of = append(of, b.asked(body.Instrument)); of[0].Identity == "" {
				return fmt.Errorf("instrument %.80q is neither in the journal nor one of this tuner's", body.Instrument)
			}
		}
		if n := of[0].Strings; body.String < 0 || n > 0 && body.String > n {
			return fmt.Errorf("string %d: the instrument has strings 1 to %d; 0 is all of them", body.String, n)
		}
		got.ID, err = j.AddEvent(r.ctx, journal.Event{Instrument: of[0].Name, Identity: of[0].Identity, String: body.String, Kind: body.Kind, Text: body.Text})
		return err
	})
	return &got, err
}
