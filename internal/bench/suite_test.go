package bench_test

import (
	"testing"

	"tunerd/internal/bench"
	"tunerd/internal/bench/benchtest"
)

// Everything that the API description lists, asked directly; internal/server asks the same over HTTP.
func TestBench(t *testing.T) {
	benchtest.Run(t, func(_ *testing.T, b *bench.Bench, _ *bench.Tuner) benchtest.Client { return b })
}
