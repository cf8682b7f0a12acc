package server

import (
	"context"
	"crypto/tls"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"time"

	"tunerd/internal/bench"
	"tunerd/internal/display"
	"tunerd/internal/service"
)

// Limits of a connection.
const (
	headerTime   = 5 * time.Second
	idleTime     = time.Minute      // of who has shown that he may come in
	requestTime  = 10 * time.Second // for a body to come and an answer to go
	maxHeader    = 16 << 10         // bytes
	maxConns     = 64
	maxStrangers = 24       // connections on which nobody has shown yet that he may come in
	maxStreams   = 64       // requests at a time on one connection of HTTP/2
	socketBuffer = 64 << 10 // bytes: what a client that stopped reading leaves in the system
	closingTime  = 2 * time.Second
)

// Config is what a server needs.
type Config struct {
	Bench *bench.Bench      // what answers
	Tuner *bench.Tuner      // its tuner, for health and metrics
	Page  fs.FS             // files of the page, index.html among them
	Guard Guard             // who is answered
	Mic   *bench.Microphone // of a page, if that is the input; nil: it is not
	TLS   *tls.Config       // served over TLS; nil: it is not
	Log   *slog.Logger      // nil: none
}

// A Server answers requests about a bench.
type Server struct {
	cfg     Config
	page    map[string]pageFile
	handler http.Handler
	closing context.Context
	close   context.CancelFunc
}

// New returns a server. Serve serves; Handler is for tests.
func New(cfg Config) (*Server, error) {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	page, err := readPage(cfg.Page)
	if err != nil {
		return nil, err
	}
	s := &Server{cfg: cfg, page: page}
	s.closing, s.close = context.WithCancel(context.Background())
	s.handler = s.logged(s.cfg.Guard.wrap(s.routes()))
	return s, nil
}

// Handler returns what answers all requests.
func (s *Server) Handler() http.Handler { return s.handler }

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /stream", s.stream)
	mux.HandleFunc("GET /microphone", s.microphone)
	mux.HandleFunc("GET /healthz", s.healthz)
	mux.HandleFunc("GET /metrics", s.metrics)
	mux.Handle("/api/", s.api())
	mux.HandleFunc("/", s.servePage)
	return mux
}

// Serve answers requests that come to the listener until ctx ends; then streams end at once, and
// other answers have two seconds.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	srv := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: headerTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    maxHeader,
		ConnContext:       connContext,
		HTTP2:             &http.HTTP2Config{MaxConcurrentStreams: maxStreams, WriteByteTimeout: writeTime, SendPingTimeout: idleTime},
		ErrorLog:          slog.NewLogLogger(s.cfg.Log.Handler(), slog.LevelDebug),
	}
	closed := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(closed)
		s.close()
		late, cancel := context.WithTimeout(context.Background(), closingTime)
		defer cancel()
		if srv.Shutdown(late) != nil {
			srv.Close()
		}
	})
	err := srv.Serve(s.listener(l))
	if !stop() {
		<-closed
		return nil
	}
	return err
}

// listener puts before the system's listener what a connection goes through.
func (s *Server) listener(l net.Listener) net.Listener {
	l = newLimited(l, maxConns, maxStrangers)
	if s.cfg.TLS == nil {
		return l
	}
	return tls.NewListener(service.LeadToTLS(l), s.cfg.TLS)
}

// connContext bounds what the system keeps for a client that does not read, and keeps the connection for known.
func connContext(ctx context.Context, c net.Conn) context.Context {
	for below, ok := c.(interface{ NetConn() net.Conn }); ok; below, ok = c.(interface{ NetConn() net.Conn }) {
		c = below.NetConn()
	}
	l, ok := c.(*limitedConn)
	if !ok {
		return ctx
	}
	if b, ok := l.Conn.(interface{ SetWriteBuffer(bytes int) error }); ok {
		_ = b.SetWriteBuffer(socketBuffer)
	}
	return withConn(ctx, l)
}

func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		// A connection keeps its deadline from one request to the next.
		_ = http.NewResponseController(w).SetWriteDeadline(began.Add(requestTime))
		seen := &statusWriter{ResponseWriter: w, status: http.StatusOK}
		next.ServeHTTP(seen, r)
		s.cfg.Log.Debug("request", "method", r.Method, "path", r.URL.Path, "status", seen.status, "from", r.RemoteAddr, "took", time.Since(began))
	})
}

// A statusWriter remembers what was answered.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (w *statusWriter) WriteHeader(status int) {
	w.status = status
	w.ResponseWriter.WriteHeader(status)
}

// Unwrap lets http.ResponseController, and what takes over the connection, reach what is below.
func (w *statusWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// healthz fails while a device that should be heard is not there. The microphone of a page may come
// and go.
func (s *Server) healthz(w http.ResponseWriter, _ *http.Request) {
	if hears := s.cfg.Tuner.Stats().Hears; hears == display.Lost && s.cfg.Mic == nil {
		http.Error(w, string(hears), http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = w.Write([]byte("ok\n"))
}
