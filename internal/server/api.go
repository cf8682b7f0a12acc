package server

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net/http"
	"time"
)

const maxBody = 64 << 10 // bytes

type rawMsg = json.RawMessage

// An answer makes the answer to a request; it is written as JSON.
type answer func(r *http.Request) (any, error)

// answers are the requests that there are; openapi.json describes them.
func (s *Server) answers() map[string]answer {
	all := map[string]answer{
		"GET /api/session":                 s.getSession,
		"PUT /api/session":                 s.putSession,
		"PATCH /api/session":               s.patchSession,
		"POST /api/session/clear":          s.clearSession,
		"POST /api/session/confirm":        s.confirmSession,
		"GET /api/instruments":             s.getInstruments,
		"GET /api/instruments/{id}/board":  s.getBoard,
		"GET /api/instruments/{id}/shapes": s.getShapes,
		"GET /api/tunings":                 s.getTunings,
		"GET /api/tuning":                  s.getTuning,
		"GET /api/compare":                 s.getCompare,
		"GET /api/divisions":               s.getDivisions,
		"POST /api/detune":                 s.postDetune,
		"POST /api/beats":                  s.postBeats,
		"GET /api/bounds":                  s.getBounds,
		"GET /api/openapi.json":            describe,
	}
	maps.Copy(all, s.journalAnswers())
	maps.Copy(all, s.setupAnswers())
	return all
}

// handlers are the requests whose answer is more than a body.
func (s *Server) handlers() map[string]http.HandlerFunc {
	return map[string]http.HandlerFunc{"DELETE /api/access": s.deleteAccess}
}

//go:embed openapi.json
var description []byte

func describe(*http.Request) (any, error) { return rawMsg(description), nil }

func (s *Server) api() http.Handler {
	mux := http.NewServeMux()
	for pattern, make := range s.answers() {
		mux.HandleFunc(pattern, answered(make))
	}
	for pattern, handler := range s.handlers() {
		mux.HandleFunc(pattern, handler)
	}
	mux.HandleFunc("GET /api/setup/files/{name}", s.serveReport)
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		refuse(w, r, refusal{http.StatusNotFound, codeNotFound, fmt.Sprintf("%s %.80s is not there; /api/openapi.json lists what is", r.Method, r.URL.Path)})
	})
	return mux
}

func answered(make answer) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		rc := http.NewResponseController(w)
		_ = rc.SetReadDeadline(time.Now().Add(requestTime)) // what cannot have one is a test
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		v, err := make(r)
		_ = rc.SetWriteDeadline(time.Now().Add(requestTime))
		if err != nil {
			refuse(w, r, err)
			return
		}
		writeJSON(w, http.StatusOK, v)
	}
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(marshal(v), '\n'))
}

// readJSON reads the body of a request strictly: one object, no field that v lacks.
func readJSON(r *http.Request, v any) error {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/json" {
		return refusal{http.StatusUnsupportedMediaType, codeNotJSON, "the body must be sent as Content-Type: application/json"}
	}
	return strictJSON(r.Body, v)
}

func strictJSON(from io.Reader, v any) error {
	d := json.NewDecoder(from)
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return badBody(err)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("the body goes on after its JSON object")
	}
	return nil
}

func badBody(err error) error {
	var long *http.MaxBytesError
	if errors.As(err, &long) {
		return refusal{http.StatusRequestEntityTooLarge, codeTooLong, fmt.Sprintf("the body is longer than %d bytes", long.Limit)}
	}
	return fmt.Errorf("the body cannot be read: %w", err)
}

// alone does heavy work when no other is being done, so that requests leave the audio its time.
func (s *Server) alone(r *http.Request, work func() error) error {
	select {
	case s.busy <- struct{}{}:
	case <-r.Context().Done():
		return r.Context().Err()
	case <-time.After(requestTime):
		return refusal{http.StatusServiceUnavailable, codeBusy, "the tuner is busy with what others have asked; try again"}
	}
	defer func() { <-s.busy }()
	return work()
}
