package sound

import (
	"bytes"
	"encoding/hex"
	"errors"
	"strings"
	"testing"
)

// Bytes laid out by hand from the RIFF WAVE specification: three samples, 48000 Hz.
func TestWriteWAVBytes(t *testing.T) {
	for _, tc := range []struct {
		format WAVFormat
		want   string
	}{
		{PCM24, "52494646 2e000000 57415645" + // RIFF, 46 bytes, WAVE
			"666d7420 10000000 0100 0100 80bb0000 80320200 0300 1800" + // fmt: PCM, mono, 48000, 144000, 3, 24
			"64617461 09000000 000040 0000c0 ffff7f 00"}, // data: 0.5, −0.5, clipped 1; pad
		{Float32, "52494646 3e000000 57415645" +
			"666d7420 12000000 0300 0100 80bb0000 00ee0200 0400 2000 0000" +
			"66616374 04000000 03000000" +
			"64617461 0c000000 0000003f 000000bf 0000803f"},
	} {
		var buf bytes.Buffer
		if err := WriteWAV(&buf, []float64{0.5, -0.5, 1}, 48000, tc.format); err != nil {
			t.Fatal(err)
		}
		if got, want := hex.EncodeToString(buf.Bytes()), strings.ReplaceAll(tc.want, " ", ""); got != want {
			t.Errorf("format %d:\n got %s\nwant %s", tc.format, got, want)
		}
	}
}

type brokenWriter struct{}

var errBroken = errors.New("disk full")

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }

func TestWriteWAVErrors(t *testing.T) {
	if err := WriteWAV(brokenWriter{}, []float64{0}, 48000, PCM24); !errors.Is(err, errBroken) {
		t.Errorf("broken writer: %v", err)
	}
	if err := WriteWAV(&bytes.Buffer{}, nil, 0, PCM24); err == nil {
		t.Error("sample rate 0 was accepted")
	}
	if err := WriteWAV(&bytes.Buffer{}, nil, 48000, WAVFormat(7)); err == nil {
		t.Error("an unknown format was accepted")
	}
}
