package command_test

import (
	"fmt"
	"sync"
	"testing"
	"time"
)

// BenchmarkServe serves a plucked string to that many clients, for ten seconds of sound that come
// as fast as they sound, and reports what part of a core the program takes and how many frames a
// second a client gets. Goal: at most 10 % with five clients at 60 frames a second.
func BenchmarkServe(b *testing.B) {
	bin := buildProgram(b)
	for _, clients := range []int{0, 1, 5} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) {
			for b.Loop() {
				serveClients(b, bin, clients, 10*time.Second)
			}
		})
	}
}

func serveClients(b *testing.B, bin string, clients int, span time.Duration) {
	s := startServe(b, bin, 1, nil, "--input", "demo", "--listen", "127.0.0.1:0")
	began := time.Now()
	frames := 0
	var mu sync.Mutex
	var reading sync.WaitGroup
	for range clients {
		stream := s.stream(b)
		reading.Go(func() {
			n := 0
			for range stream {
				n++
			}
			mu.Lock()
			defer mu.Unlock()
			frames += n
		})
	}
	time.Sleep(time.Until(began.Add(span)))
	took := time.Since(began)
	s.terminate(b)
	reading.Wait()
	cpu := s.cmd.ProcessState.UserTime() + s.cmd.ProcessState.SystemTime()
	b.ReportMetric(100*cpu.Seconds()/took.Seconds(), "core-%")
	if clients > 0 {
		b.ReportMetric(float64(frames)/float64(clients)/took.Seconds(), "frames/s")
	}
}
