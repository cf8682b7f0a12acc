package journal

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"tunerd/internal/display"
)

// exchangeFormat is the version of the JSON Lines that Export writes; see docs/formats.md.
const exchangeFormat = 1

// maxLine is more than any line of an export takes, in bytes.
const maxLine = 16 << 20

// The objects of an export. Times are RFC 3339 in UTC with milliseconds.
type (
	headLine struct {
		Type   string `json:"type"`
		Format int    `json:"format"`
	}
	sessionLine struct {
		Type       string    `json:"type"`
		UID        string    `json:"uid"`
		Kind       string    `json:"kind"`
		Started    stamp     `json:"started"`
		Ended      *stamp    `json:"ended"`
		Program    string    `json:"program"`
		Input      string    `json:"input"`
		RateHz     int       `json:"sample_rate_hz"`
		Clock      clockLine `json:"clock"`
		Instrument string    `json:"instrument"`
		Strings    []String  `json:"strings"`
		Tuning     string    `json:"tuning"`
		Reference  string    `json:"reference"`
		Plan       string    `json:"plan"`
		Note       string    `json:"note"`
		Data       string    `json:"data"`
	}
	clockLine struct {
		PPM      float64 `json:"ppm"`
		SigmaPPM float64 `json:"sigma_ppm"`
		By       string  `json:"by"`
	}
	readingLine struct {
		Type       string `json:"type"`
		Session    string `json:"session"`
		Seq        int    `json:"seq"`
		TimeS      number `json:"t_s"`
		File       string `json:"file"`
		String     int    `json:"string"`
		Fret       int    `json:"fret"`
		Harmonic   int    `json:"harmonic"`
		Label      string `json:"label"`
		TargetHz   number `json:"target_hz"`
		F1Hz       number `json:"f1_hz"`
		SigmaCents number `json:"f1_sigma_cents"`
		Cents      number `json:"cents"`
		AttackF1Hz number `json:"attack_f1_hz"`
		Partial1Hz number `json:"partial1_hz"`
		B          number `json:"inharmonicity"`
		SNRdB      number `json:"snr_db"`
		FromS      number `json:"from_s"`
		ToS        number `json:"to_s"`
		Mark       string `json:"mark"`
	}
	eventLine struct {
		Type       string `json:"type"`
		UID        string `json:"uid"`
		At         stamp  `json:"at"`
		Instrument string `json:"instrument"`
		String     int    `json:"string"`
		Kind       string `json:"kind"`
		Text       string `json:"text"`
	}
)

// A stamp is a time in milliseconds since 1970.
type stamp int64

const stampLayout = "2006-01-02T15:04:05.000Z07:00"

func (s stamp) MarshalText() ([]byte, error) {
	return time.UnixMilli(int64(s)).UTC().AppendFormat(nil, stampLayout), nil
}

func (s *stamp) UnmarshalText(text []byte) error {
	t, err := time.Parse(time.RFC3339, string(text))
	if err != nil {
		return fmt.Errorf("%q is no time such as 2006-01-02T15:04:05.678Z", text)
	}
	*s = stamp(t.UnixMilli())
	return nil
}

// A number is a float64 that is null if it is not known.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

func (n *number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = number(math.NaN())
		return nil
	}
	return json.Unmarshal(text, (*float64)(n))
}

// An escaper writes JSON without hidden characters, as an export may be looked at in a terminal.
type escaper struct{ w io.Writer }

func (e escaper) Write(json []byte) (int, error) {
	if _, err := e.w.Write(display.EscapeHidden(json)); err != nil {
		return 0, err
	}
	return len(json), nil
}

// Export writes sessions with their readings as JSON Lines, all of them and the events if there
// are no ids. What it writes is one state of the journal, whatever is kept meanwhile.
func (j *Journal) Export(ctx context.Context, w io.Writer, ids ...int64) error {
	out := bufio.NewWriter(w)
	enc := json.NewEncoder(escaper{out})
	enc.SetEscapeHTML(false)
	if err := enc.Encode(headLine{"journal", exchangeFormat}); err != nil {
		return err
	}
	tx, err := j.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return j.error(err)
	}
	defer tx.Rollback()
	if len(ids) == 0 {
		err = exportAll(ctx, tx, enc)
	} else {
		err = exportSome(ctx, tx, enc, ids)
	}
	if err != nil {
		return j.error(err)
	}
	return out.Flush()
}

func exportAll(ctx context.Context, tx *sql.Tx, enc *json.Encoder) error {
	sessions, err := querySessions(ctx, tx, "SELECT id, "+sessionColumns+" FROM session ORDER BY started_ms, uid")
	if err != nil {
		return err
	}
	for i := range sessions {
		if err := exportSession(ctx, tx, enc, &sessions[i]); err != nil {
			return err
		}
	}
	events, err := queryEvents(ctx, tx, "")
	if err != nil {
		return err
	}
	for _, e := range events {
		line := eventLine{"event", e.UID, stamp(e.At.UnixMilli()), e.Instrument, e.String, e.Kind, e.Text}
		if err := enc.Encode(&line); err != nil {
			return err
		}
	}
	return nil
}

func exportSome(ctx context.Context, tx *sql.Tx, enc *json.Encoder, ids []int64) error {
	for _, id := range ids {
		s, err := querySessions(ctx, tx, "SELECT id, "+sessionColumns+" FROM session WHERE id = ?", id)
		if err != nil {
			return err
		}
		if len(s) == 0 {
			return fmt.Errorf("session %d: %w", id, ErrNoSession)
		}
		if err := exportSession(ctx, tx, enc, &s[0]); err != nil {
			return err
		}
	}
	return nil
}

func exportSession(ctx context.Context, tx *sql.Tx, enc *json.Encoder, s *Session) error {
	if err := enc.Encode(lineOfSession(s)); err != nil {
		return err
	}
	rows, err := tx.QueryContext(ctx, "SELECT seq, "+readingColumns+" FROM reading WHERE session_id = ? ORDER BY seq", s.ID)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var seq int
		r, err := scanReading(rows, &seq)
		if err != nil {
			return err
		}
		if err := enc.Encode(lineOfReading(s.UID, seq, &r)); err != nil {
			return err
		}
	}
	return rows.Err()
}

// WriteUnsaved writes what rec could not store in the form of Export, so that an import brings it
// to where it belongs.
func WriteUnsaved(w io.Writer, rec *Recorder) error {
	out := bufio.NewWriter(w)
	enc := json.NewEncoder(escaper{out})
	enc.SetEscapeHTML(false)
	s, readings := rec.Unsaved()
	err := errors.Join(enc.Encode(headLine{"journal", exchangeFormat}), enc.Encode(lineOfSession(&s)))
	for i := range readings {
		err = errors.Join(err, enc.Encode(lineOfReading(s.UID, rec.stored+1+i, &readings[i])))
	}
	return errors.Join(err, out.Flush())
}

func lineOfSession(s *Session) *sessionLine {
	line := &sessionLine{
		Type: "session", UID: s.UID, Kind: s.Kind, Started: stamp(s.Started.UnixMilli()), Program: s.Program,
		Input: s.Input, RateHz: s.RateHz, Clock: clockLine(s.Clock), Instrument: s.Instrument, Strings: s.Strings,
		Tuning: s.Tuning, Reference: s.Reference, Plan: s.Plan, Note: s.Note, Data: s.Data,
	}
	if line.Strings == nil {
		line.Strings = []String{}
	}
	if !s.Ended.IsZero() {
		ended := stamp(s.Ended.UnixMilli())
		line.Ended = &ended
	}
	return line
}

func (l *sessionLine) session() Session {
	s := Session{
		UID: l.UID, Kind: l.Kind, Started: time.UnixMilli(int64(l.Started)), Program: l.Program,
		Input: l.Input, RateHz: l.RateHz, Clock: Clock(l.Clock), Instrument: l.Instrument, Strings: l.Strings,
		Tuning: l.Tuning, Reference: l.Reference, Plan: l.Plan, Note: l.Note, Data: l.Data,
	}
	if l.Ended != nil {
		s.Ended = time.UnixMilli(int64(*l.Ended))
	}
	return s.sanitized()
}

func lineOfReading(session string, seq int, r *Reading) *readingLine {
	line := &readingLine{
		Type: "reading", Session: session, Seq: seq, File: r.File, String: r.String, Fret: r.Fret,
		Harmonic: r.Harmonic, Label: r.Label, Mark: r.Mark,
	}
	for i, x := range line.numbers() {
		*x = number(*r.numbers()[i])
	}
	return line
}

func (l *readingLine) reading() Reading {
	r := Reading{File: l.File, String: l.String, Fret: l.Fret, Harmonic: l.Harmonic, Label: l.Label, Mark: l.Mark}
	for i, x := range r.numbers() {
		*x = float64(*l.numbers()[i])
	}
	return r.sanitized()
}

// numbers are the measured values in the order of Reading.numbers.
func (l *readingLine) numbers() []*number {
	return []*number{&l.TimeS, &l.TargetHz, &l.F1Hz, &l.SigmaCents, &l.Cents, &l.AttackF1Hz, &l.Partial1Hz,
		&l.B, &l.SNRdB, &l.FromS, &l.ToS}
}

// Imported counts what an import has found.
type Imported struct {
	Sessions, Readings, Events int // that are new in the journal
	Known                      int // sessions and events that were there already
}

// Import reads an export into the journal: all of it, or, if a line is wrong, nothing. What is
// there already, told by UIDs and by the order of readings, is left as it is, so that to import
// twice does nothing, and the later export of a session that has gone on adds what is new.
func (j *Journal) Import(ctx context.Context, r io.Reader) (Imported, error) {
	var in importer
	err := j.inTx(ctx, func(tx *sql.Tx) error {
		put, err := preparePut(ctx, tx, "IGNORE")
		if err != nil {
			return err
		}
		defer put.Close()
		in = importer{ctx: ctx, tx: tx, put: put, ids: map[string]int64{}}
		return in.read(r)
	})
	if err != nil {
		return Imported{}, err
	}
	return in.count, nil
}

type importer struct {
	ctx   context.Context
	tx    *sql.Tx
	put   *sql.Stmt
	ids   map[string]int64 // of the sessions seen, by UID
	count Imported
}

func (in *importer) read(r io.Reader) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxLine)
	n, begun := 0, false
	for lines.Scan() {
		n++
		line := bytes.TrimSpace(bytes.TrimPrefix(lines.Bytes(), []byte("\ufeff")))
		if len(line) == 0 {
			continue
		}
		take := in.take
		if !begun {
			take, begun = in.head, true
		}
		if err := take(line); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("line %d: %w", n+1, err)
	}
	if !begun {
		return errors.New("line 1: nothing there to import")
	}
	return in.recount()
}

func (in *importer) head(line []byte) error {
	var head headLine
	switch err := json.Unmarshal(line, &head); {
	case err != nil || head.Type != "journal":
		return errors.New(`this is no exported journal: it does not begin with {"type":"journal"}`)
	case head.Format != exchangeFormat:
		return fmt.Errorf("written in format %d, this tunerd knows format %d", head.Format, exchangeFormat)
	}
	return nil
}

func (in *importer) take(line []byte) error {
	var head headLine
	if err := json.Unmarshal(line, &head); err != nil {
		return plainJSON(err)
	}
	switch head.Type {
	case "session":
		return in.session(line)
	case "reading":
		return in.reading(line)
	case "event":
		return in.event(line)
	}
	return fmt.Errorf("type %q is not session, reading or event", head.Type)
}

// plainJSON leaves out of an error of encoding/json what tells the user nothing.
func plainJSON(err error) error {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fmt.Errorf("%s cannot be a %s", wrong.Field, wrong.Value)
	}
	return errors.New(strings.TrimPrefix(err.Error(), "json: "))
}

func (in *importer) session(line []byte) error {
	var l sessionLine
	if err := json.Unmarshal(line, &l); err != nil {
		return plainJSON(err)
	}
	if l.UID == "" {
		return errors.New("a session needs a uid")
	}
	s := l.session()
	var id int64
	err := in.tx.QueryRowContext(in.ctx, "SELECT id FROM session WHERE uid = ?", s.UID).Scan(&id)
	switch {
	case err == nil:
		in.count.Known++
		if !s.Ended.IsZero() {
			_, err = in.tx.ExecContext(in.ctx, "UPDATE session SET ended_ms = coalesce(ended_ms, ?) WHERE id = ?", s.Ended.UnixMilli(), id)
		}
	case errors.Is(err, sql.ErrNoRows):
		in.count.Sessions++
		id, err = putSession(in.ctx, in.tx, &s)
	}
	in.ids[s.UID] = id
	return err
}

func (in *importer) reading(line []byte) error {
	var l readingLine
	for _, x := range l.numbers() {
		*x = number(math.NaN()) // a field that is left out is not known
	}
	if err := json.Unmarshal(line, &l); err != nil {
		return plainJSON(err)
	}
	id, ok := in.ids[plainText(l.Session)]
	switch {
	case !ok:
		return fmt.Errorf("session %q of the reading does not stand before it", l.Session)
	case l.Seq < 1:
		return fmt.Errorf("seq %d of the reading is below 1", l.Seq)
	}
	r := l.reading()
	written, err := putReading(in.ctx, in.put, id, l.Seq, &r)
	if written {
		in.count.Readings++
	}
	return err
}

func (in *importer) event(line []byte) error {
	var l eventLine
	if err := json.Unmarshal(line, &l); err != nil {
		return plainJSON(err)
	}
	if l.UID == "" {
		return errors.New("an event needs a uid")
	}
	e := Event{UID: l.UID, At: time.UnixMilli(int64(l.At)), Instrument: l.Instrument, String: l.String, Kind: l.Kind, Text: l.Text}
	isNew, err := putEvent(in.ctx, in.tx, &e)
	if isNew {
		in.count.Events++
	} else {
		in.count.Known++
	}
	return err
}

// recount sets the count of readings of what was imported.
func (in *importer) recount() error {
	for _, id := range in.ids {
		_, err := in.tx.ExecContext(in.ctx,
			"UPDATE session SET readings = (SELECT count(*) FROM reading WHERE session_id = session.id) WHERE id = ?", id)
		if err != nil {
			return err
		}
	}
	return nil
}
