package server

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"time"

	"tunerd/internal/bench"
	"tunerd/internal/bench/openapi"
)

const maxBody = 64 << 10 // bytes

// api answers all requests of the API: those that are about this server, and otherwise what the bench answers.
func (s *Server) api() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /api/openapi.json", describe)
	mux.HandleFunc("DELETE /api/access", s.deleteAccess)
	mux.HandleFunc("/api/", s.ask)
	return mux
}

func describe(w http.ResponseWriter, _ *http.Request) {
	write(w, bench.Answer{Status: http.StatusOK, Type: "application/json", Body: openapi.Description})
}

// ask passes a request on to the bench.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(time.Now().Add(requestTime)) // what cannot have one is a test
	body, err := readBody(w, r)
	if err != nil {
		refuse(w, r, err)
		return
	}
	answer := s.cfg.Bench.Ask(r.Context(), &bench.Request{Method: r.Method, Path: r.URL.EscapedPath(), Query: r.URL.Query(), Body: body})
	_ = rc.SetWriteDeadline(time.Now().Add(requestTime))
	write(w, answer)
}

// readBody reads a body, which only JSON may be: another page could send other kinds unasked.
func readBody(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	switch r.Method {
	case http.MethodPost, http.MethodPut, http.MethodPatch:
	default:
		return nil, nil
	}
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/json" {
		return nil, bench.Refusal{Status: http.StatusUnsupportedMediaType, Code: codeNotJSON, Text: "the body must be sent as Content-Type: application/json"}
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	var long *http.MaxBytesError
	switch {
	case errors.As(err, &long):
		return nil, bench.Refusal{Status: http.StatusRequestEntityTooLarge, Code: codeTooLong, Text: fmt.Sprintf("the body is longer than %d bytes", long.Limit)}
	case err != nil:
		return nil, fmt.Errorf("the body cannot be read: %w", err)
	}
	return body, nil
}

// write sends an answer. A file is sent as a download: a page of its own style has no place among ours.
func write(w http.ResponseWriter, a bench.Answer) {
	h := w.Header()
	h.Set("Content-Type", a.Type)
	h.Set("Cache-Control", "no-store")
	if a.Name != "" {
		h.Set("Content-Disposition", `attachment; filename="`+a.Name+`"`)
	}
	w.WriteHeader(a.Status)
	_, _ = w.Write(a.Body)
}

// deleteAccess lets the browser that asks for it in no longer.
func (s *Server) deleteAccess(w http.ResponseWriter, r *http.Request) {
	if err := s.cfg.Guard.leave(w, r); err != nil {
		refuse(w, r, err)
		return
	}
	write(w, bench.JSON(http.StatusOK, struct{}{}))
}
