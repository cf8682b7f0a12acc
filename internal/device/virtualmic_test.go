//go:build virtualmic && linux && cgo && !nomic

package device

import (
	"slices"
	"testing"
	"time"

	"tunerd/internal/sampling"
	"tunerd/internal/testkit"
)

// TestVirtualMicBlocksComeAtOnce records through a process and measures from when the audio
// library has delivered a block until it is here. That is what a process of its own costs; it is
// to stay below the length of a block, as half of the blocks show also on a busy computer.
func TestVirtualMicBlocksComeAtOnce(t *testing.T) {
	testkit.NeedVirtualMic(t)
	r, err := Record(Input{Rate: sampling.DefaultRate})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := r.Open(); err != nil {
		t.Fatal(err)
	}
	b := &Block{}
	pos := int64(0)
	var late []time.Duration
	for pos < 5*sampling.DefaultRate {
		next(t, r, b, &pos, -1)
		late = append(late, time.Since(b.At))
	}
	slices.Sort(late)
	n := len(late)
	t.Logf("%d blocks, on their way for: median %v, 99th percentile %v, longest %v", n, late[n/2], late[n*99/100], late[n-1])
	const block = BlockLen * time.Second / sampling.DefaultRate
	if late[n/2] > block {
		t.Errorf("median %v, want less than a block of %v", late[n/2], block)
	}
}
