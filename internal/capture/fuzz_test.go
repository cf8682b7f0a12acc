package capture

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// What one step of a reader may allocate, in bytes, whatever the file announces: 65535 samples
// of 8 channels in a FLAC block (4 bytes each, taken twice for good measure) and 2^15 partitions
// of 16 bytes for each channel (RFC 9639, 9.2.5 and 9.2.7).
const stepLimit = 2*65535*8*4 + 8*(1<<15)*16 + 1<<20

func FuzzWAV(f *testing.F) {
	for _, w := range []wavFile{
		{tag: 1, channels: 1, rate: 48000, bits: 8, data: []byte{1, 2, 3}},
		{tag: 1, channels: 2, rate: 44100, bits: 16, data: le16(1, 2, 3, 4)},
		{tag: 1, channels: 1, rate: 96000, bits: 24, data: le24(1, 2, 3, 4)},
		{tag: 3, channels: 1, rate: 48000, bits: 32, data: littleEndian([]float32{0.5, float32(math.NaN())})},
		{tag: 3, channels: 1, rate: 48000, bits: 64, data: littleEndian([]float64{0.5, math.Inf(1)})},
		{tag: 0xfffe, guid: guid(1), channels: 3, rate: 48000, bits: 24, align: 12, data: le32(1, 2, 3)},
		{tag: 1, channels: 1, rate: 48000, bits: 16, data: le16(1, 2), dataSize: pointer[uint32](0xffffffff)},
		{tag: 1, channels: 1, rate: 48000, bits: 16, data: le16(1, 2), before: chunk("JUNK", nil, pointer[uint32](0x7ffffff0))},
		{id: "RF64", tag: 1, channels: 1, rate: 48000, bits: 16, data: le16(1, 2),
			before: chunk("ds64", bytes.Repeat([]byte{255}, 28), nil), dataSize: pointer[uint32](0xffffffff)},
	} {
		f.Add(w.bytes())
	}
	f.Fuzz(fuzzRecording)
}

func FuzzFLAC(f *testing.F) {
	for _, seed := range flacSeeds {
		data, err := os.ReadFile(filepath.Join("testdata", seed.file))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(fuzzRecording)
}

// fuzzRecording reads whatever it gets to the end. It must end with io.EOF or an error, give no
// more than the input can hold, only usable numbers, and allocate within stepLimit at each step.
func fuzzRecording(t *testing.T, data []byte) {
	var last runtime.MemStats
	runtime.ReadMemStats(&last)
	allocated := func(step string) {
		var now runtime.MemStats
		runtime.ReadMemStats(&now)
		if got := now.TotalAlloc - last.TotalAlloc; got > stepLimit {
			t.Fatalf("%s allocates %d bytes for a file of %d", step, got, len(data))
		}
		last = now
	}
	src, err := openReader(t.Context(), "x", io.NopCloser(bytes.NewReader(data)), false, Options{Log: discard})
	allocated("open")
	if err != nil {
		return
	}
	dst := make([]float64, 1000)
	var total int64
	for {
		b, err := src.Read(t.Context(), dst)
		allocated("read")
		if err != nil {
			break
		}
		if len(b.Samples) == 0 || b.Start != total {
			t.Fatalf("block of %d samples at %d, want some at %d", len(b.Samples), b.Start, total)
		}
		for _, v := range b.Samples {
			if !(math.Abs(v) <= maxFloatSample) {
				t.Fatalf("sample %v", v)
			}
		}
		total += int64(len(b.Samples))
	}
	// A FLAC block of 65535 equal samples takes 12 bytes or more (RFC 9639, 9.1 and 9.2.3).
	if limit := int64(len(data)) * 65535 / 12; total > limit {
		t.Fatalf("%d samples from %d bytes, want no more than %d", total, len(data), limit)
	}
}
