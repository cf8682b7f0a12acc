package server

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"tunerd/internal/bench"
)

const writeTime = 2 * time.Second // for a client to take a message

// stream answers with Server-Sent Events (WHATWG HTML, section 9.2) until the client leaves, takes
// nothing for writeTime, or the server closes.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	ctx, stop := context.WithCancelCause(r.Context())
	defer stop(nil)
	defer context.AfterFunc(s.closing, func() { stop(http.ErrServerClosed) })()
	e := &events{w: w, rc: http.NewResponseController(w)}
	err := s.cfg.Bench.Follow(ctx, func(m bench.Message) error {
		if !e.begun {
			s.cfg.Log.Info("stream opened", "from", r.RemoteAddr, "streams", s.cfg.Tuner.Stats().Followers)
		}
		return e.send(m)
	})
	if !e.begun {
		w.Header().Set("Retry-After", "5")
		refuse(w, r, err)
		return
	}
	s.cfg.Log.Info("stream closed", "from", r.RemoteAddr, "reason", err)
}

// events is a stream of Server-Sent Events.
type events struct {
	w     http.ResponseWriter
	rc    *http.ResponseController
	buf   []byte
	begun bool
}

func (e *events) send(m bench.Message) error {
	e.buf = e.buf[:0]
	if !e.begun {
		e.begun = true
		h := e.w.Header()
		h.Set("Content-Type", "text/event-stream")
		h.Set("Cache-Control", "no-store")
		e.buf = append(e.buf, "retry: 1000\n"...)
	}
	if m.ID != "" {
		e.buf = fmt.Appendf(e.buf, "id: %s\n", m.ID)
	}
	e.buf = fmt.Appendf(e.buf, "event: %s\ndata: %s\n\n", m.Event, m.Data)
	if err := e.rc.SetWriteDeadline(time.Now().Add(writeTime)); err != nil {
		return err
	}
	if _, err := e.w.Write(e.buf); err != nil {
		return err
	}
	return e.rc.Flush()
}
