package server

import (
	"fmt"
	"net/http"
	"runtime"
	"strings"
	"time"

	"tunerd/internal/display"
)

// metrics answers in the text format of Prometheus, version 0.0.4.
func (s *Server) metrics(w http.ResponseWriter, _ *http.Request) {
	stats := s.cfg.Tuner.Stats()
	m := &metricText{}
	m.add("counter", "tunerd_blocks_total", "Blocks of samples taken from the input.", stats.Blocks)
	m.add("counter", "tunerd_samples_total", "Samples taken from the input.", stats.Samples)
	m.add("counter", "tunerd_readings_total", "Readings made, also of silence.", stats.Readings)
	m.add("counter", "tunerd_gaps_total", "Breaks in the input.", stats.Gaps)
	m.add("gauge", "tunerd_input_up", "1 while the input delivers.", up(stats.Hears))
	m.add("gauge", "tunerd_clients", "Open streams.", stats.Followers)
	m.add("counter", "tunerd_clients_total", "Streams opened so far.", stats.Followed)
	m.add("counter", "tunerd_messages_total", "Messages made for streams.", stats.Messages)
	m.add("counter", "tunerd_messages_replaced_total", "Messages that a slow stream did not fetch before a newer one came.", stats.Replaced)
	if l := stats.Latency; l != nil {
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

func up(hears display.State) int {
	switch hears {
	case display.Silent, display.Unsure, display.Sounding, display.Several:
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
