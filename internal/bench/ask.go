package bench

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/url"
	"time"

	"tunerd/internal/display/text"
)

type rawMsg = json.RawMessage

// A Request asks for something, or to do something.
type Request struct {
	Method string     // GET, PUT, POST, PATCH or DELETE
	Path   string     // as in a URL, escapes and all
	Query  url.Values // nil: none
	Body   []byte     // JSON
}

// An Answer is what a request comes to.
type Answer struct {
	Status int    // as HTTP has it
	Type   string // of the body, as Content-Type has it
	Name   string // of a file to be saved; empty: it is none
	Body   []byte
}

// asked is a request on its way to what answers it.
type asked struct {
	*Request
	ctx    context.Context
	values map[string]string // what stands in the path for {id} and its like
}

func (r *asked) value(name string) string { return r.values[name] }

// read reads the body strictly: one object, no field that v lacks.
func (r *asked) read(v any) error { return strictJSON(bytes.NewReader(r.Body), v) }

func strictJSON(from io.Reader, v any) error {
	d := json.NewDecoder(from)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return fmt.Errorf("the body cannot be read: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("the body goes on after its JSON object")
	}
	return nil
}

// An answer makes the answer to a request: an Answer as it is, anything else to be written as JSON.
type answer func(r *asked) (any, error)

// answers are the requests that there are, by the patterns of openapi.json.
func (b *Bench) answers() map[string]answer {
	all := map[string]answer{
		"GET /api/session":                 b.getSession,
		"PUT /api/session":                 b.putSession,
		"PATCH /api/session":               b.patchSession,
		"POST /api/session/clear":          b.clearSession,
		"POST /api/session/confirm":        b.confirmSession,
		"GET /api/instruments":             b.getInstruments,
		"GET /api/instruments/{id}/board":  b.getBoard,
		"GET /api/instruments/{id}/shapes": b.getShapes,
		"GET /api/tunings":                 b.getTunings,
		"GET /api/tuning":                  b.getTuning,
		"GET /api/compare":                 b.getCompare,
		"GET /api/divisions":               b.getDivisions,
		"POST /api/detune":                 b.postDetune,
		"POST /api/beats":                  b.postBeats,
		"GET /api/bounds":                  b.getBounds,
		"GET /api/coupling":                b.getCoupling,
	}
	maps.Copy(all, b.journalAnswers())
	maps.Copy(all, b.setupAnswers())
	return all
}

// Ask answers a request. ctx ends work that nobody waits for any more.
func (b *Bench) Ask(ctx context.Context, r *Request) Answer {
	make, values := find(b.routes, r.Method, r.Path)
	if make == nil {
		return Refused(Refusal{statusNotFound, codeNotFound, fmt.Sprintf("%s %.80s is not there; /api/openapi.json lists what is", r.Method, r.Path)})
	}
	v, err := make(&asked{r, ctx, values})
	if err != nil {
		return Refused(err)
	}
	if made, ok := v.(Answer); ok {
		return made
	}
	return JSON(statusOK, v)
}

// JSON is v as an answer.
func JSON(status int, v any) Answer {
	return Answer{Status: status, Type: "application/json", Body: append(marshal(v), '\n')}
}

// marshal writes one of the package's own types, none of which can fail.
func marshal(v any) []byte {
	b, err := text.MarshalFigures(v)
	if err != nil {
		panic("bench: " + err.Error())
	}
	return b
}

// alone does heavy work when no other is being done, so that requests leave the audio its time.
func (b *Bench) alone(r *asked, work func() error) error {
	select {
	case b.busy <- struct{}{}:
	case <-r.ctx.Done():
		return r.ctx.Err()
	case <-time.After(busyTime):
		return Refusal{statusUnavailable, codeBusy, "the tuner is busy with what others have asked; try again"}
	}
	defer func() { <-b.busy }()
	return work()
}
