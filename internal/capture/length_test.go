package capture

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"tunerd/internal/sound"
)

// sized is what a source is asked for that may know its length.
type sized interface{ Len() int64 }

func TestLenIsWhatReadGives(t *testing.T) {
	wav := filepath.Join(t.TempDir(), "a.wav")
	f, err := os.Create(wav)
	if err != nil {
		t.Fatal(err)
	}
	if err := sound.WriteWAV(f, make([]float64, 12345), 48000, sound.PCM24); err != nil {
		t.Fatal(err)
	}
	f.Close()
	for _, path := range []string{wav, "../../testdata/wav/strat-B-Gs4.flac"} {
		src, err := Open(t.Context(), path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer src.Close()
		want := src.(sized).Len()
		var got int64
		room := make([]float64, 4096)
		for {
			b, err := src.Read(t.Context(), room)
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			got += int64(len(b.Samples))
		}
		if got == 0 || got != want {
			t.Errorf("%s: Len %d, but %d samples read", path, want, got)
		}
	}
}

func TestLenOfAStreamIsNotKnown(t *testing.T) {
	for _, size := range []int64{unknownSize, streamedSize} {
		p := &pcmReader{size: size, nch: 1, format: rawFormats["s16le"]}
		if n := p.length(); n != 0 {
			t.Errorf("announced %d bytes: length %d, want 0", size, n)
		}
	}
}
