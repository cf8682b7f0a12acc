package server

import (
	"fmt"
	"net/http"
	"runtime"
	"strings"
	"time"
)

// metrics answers in the text format of Prometheus, version 0.0.4.
func (s *Server) metrics(w http.ResponseWriter, _ *http.Request) {
	t := s.cfg.Tuner
	t.mu.Lock()
	counts := t.counts()
	session := t.session
	t.mu.Unlock()
	m := &metricText{}
	m.add("counter", "tunerd_blocks_total", "Blocks of samples taken from the input.", counts.Blocks)
	m.add("counter", "tunerd_samples_total", "Samples taken from the input.", counts.Samples)
	m.add("counter", "tunerd_readings_total", "Readings made, also of silence.", counts.Readings)
	m.add("counter", "tunerd_gaps_total", "Breaks in the input.", counts.Gaps)
	m.add("gauge", "tunerd_input_up", "1 while the input delivers.", up(t))
	m.hub(t.hub)
	if session != nil {
		l := session.Latency()
		m.head("gauge", "tunerd_latency_seconds", "From the arrival of a sample to the reading that it completes, over the latest readings.")
		m.quantile("0.5", l.Median)
		m.quantile("0.99", l.P99)
		m.quantile("1", l.Max)
	}
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	m.add("gauge", "tunerd_heap_bytes", "Bytes of allocated heap objects.", mem.HeapAlloc)
	m.add("gauge", "tunerd_goroutines", "Goroutines.", runtime.NumGoroutine())
	w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
	_, _ = w.Write([]byte(m.text.String()))
}

func up(t *Tuner) int {
	switch t.hub.listening().state {
	case "silent", "listening", "sounding":
		return 1
	}
	return 0
}

type metricText struct{ text strings.Builder }

func (m *metricText) head(kind, name, help string) {
	fmt.Fprintf(&m.text, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, kind)
}

func (m *metricText) add(kind, name, help string, value any) {
	m.head(kind, name, help)
	fmt.Fprintf(&m.text, "%s %v\n", name, value)
}

func (m *metricText) quantile(q string, d time.Duration) {
	fmt.Fprintf(&m.text, "tunerd_latency_seconds{quantile=%q} %g\n", q, d.Seconds())
}

func (m *metricText) hub(h *hub) {
	h.mu.Lock()
	defer h.mu.Unlock()
	m.add("gauge", "tunerd_clients", "Open streams.", len(h.watchers))
	m.add("counter", "tunerd_clients_total", "Streams opened so far.", h.opened)
	m.add("counter", "tunerd_messages_total", "Messages made for streams.", h.count)
	m.add("counter", "tunerd_messages_replaced_total", "Messages that a slow stream did not fetch before a newer one came.", h.replaced.Load())
}
