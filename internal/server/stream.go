package server

import (
	"fmt"
	"net/http"
	"time"
)

const (
	writeTime  = 2 * time.Second // for a client to take a message
	aliveEvery = 2 * time.Second
)

// stream answers with Server-Sent Events (WHATWG HTML, section 9.2) until the client leaves, takes
// nothing for writeTime, or the server closes.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	hub := s.cfg.Tuner.hub
	watcher, err := hub.watch()
	if err != nil {
		w.Header().Set("Retry-After", "5")
		refuse(w, r, err)
		return
	}
	defer hub.leave(watcher)
	s.cfg.Log.Info("stream opened", "from", r.RemoteAddr, "streams", hub.watching())
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	err = s.feed(r, http.NewResponseController(w), w, watcher)
	s.cfg.Log.Info("stream closed", "from", r.RemoteAddr, "reason", err)
}

// feed writes what the watcher is given, and returns why it ended.
func (s *Server) feed(r *http.Request, rc *http.ResponseController, w http.ResponseWriter, watcher *watcher) error {
	alive := time.NewTimer(aliveEvery)
	defer alive.Stop()
	buf := fmt.Appendf(nil, "retry: 1000\nevent: hello\ndata: %s\n\n", s.hello())
	for {
		if err := rc.SetWriteDeadline(time.Now().Add(writeTime)); err != nil {
			return err
		}
		if _, err := w.Write(buf); err != nil {
			return err
		}
		if err := rc.Flush(); err != nil {
			return err
		}
		alive.Reset(aliveEvery)
		select {
		case <-watcher.wake:
			buf = watcher.take(buf[:0])
		case <-alive.C:
			buf = append(buf[:0], "event: alive\ndata: {}\n\n"...)
		case <-r.Context().Done():
			return r.Context().Err()
		case <-s.closing.Done():
			return http.ErrServerClosed
		}
	}
}

// hello is all that a new client must know.
func (s *Server) hello() []byte {
	return marshal(struct {
		Instance string `json:"instance"`
		Version  string `json:"version"`
		FrameHz  int    `json:"frame_hz"`
		Guarded  bool   `json:"guarded"` // who comes in has shown a token
		Session  rawMsg `json:"session"`
	}{s.cfg.Tuner.hub.instance, s.cfg.Version, frameHz, s.cfg.Guard.Token != "", s.cfg.Tuner.Session()})
}
