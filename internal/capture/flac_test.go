package capture

import (
	"bytes"
	"crypto/md5"
	"log"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var flacSeeds = []struct {
	file                 string
	channels, bits, rate int
}{
	{"stereo16.flac", 2, 16, 48000},
	{"mono24.flac", 1, 24, 24000},
	{"mono8.flac", 1, 8, 44100},
	{"six16.flac", 6, 16, 44100},
}

// TestFLAC compares the decoded samples with the MD5 sum of the encoded ones that the stream
// information of every FLAC file carries (RFC 9639, 8.2).
func TestFLAC(t *testing.T) {
	for _, tt := range flacSeeds {
		t.Run(tt.file, func(t *testing.T) {
			path := filepath.Join("testdata", tt.file)
			channels := make([][]float64, tt.channels)
			for c := range channels {
				src := mustOpen(t, path, Options{Channel: c + 1})
				if src.SampleRate() != tt.rate {
					t.Fatalf("sample rate %d Hz, want %d Hz", src.SampleRate(), tt.rate)
				}
				channels[c] = readAll(t, src, 300)
			}
			sum := md5.New()
			for i := range channels[0] {
				for c := range channels {
					sum.Write(signedBytes(channels[c][i], tt.bits))
				}
			}
			file, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			// The sum ends the stream information, which follows 8 bytes of head.
			if want := file[8+18 : 8+34]; !bytes.Equal(sum.Sum(nil), want) {
				t.Errorf("MD5 sum of %d samples is %x, want %x", len(channels[0]), sum.Sum(nil), want)
			}
		})
	}
}

// signedBytes is sample v, full scale 1, as an integer of the given bits, low byte first.
func signedBytes(v float64, bits int) []byte {
	n := int64(v * float64(int64(1)<<(bits-1)))
	var b []byte
	for range bits / 8 {
		b = append(b, byte(n))
		n >>= 8
	}
	return b
}

func TestDamagedFLAC(t *testing.T) {
	whole, err := os.ReadFile("testdata/mono24.flac")
	if err != nil {
		t.Fatal(err)
	}
	src := mustOpen(t, "testdata/mono24.flac", Options{})
	want := readAll(t, src, 1000)

	t.Run("cut", func(t *testing.T) {
		var notes logBuffer
		src := mustOpen(t, writeFile(t, "x.flac", whole[:len(whole)*2/3]), Options{Log: logTo(&notes)})
		got := readAll(t, src, 1000)
		if len(got) != 256 { // of three blocks of 256, 256 and 208, the first is whole
			t.Errorf("%d samples, want 256", len(got))
		}
		for i, v := range got {
			if v != want[i] {
				t.Fatalf("sample %d is %v, want %v", i, v, want[i])
			}
		}
		if !strings.Contains(notes.String(), "FLAC stream ends in block 2") {
			t.Errorf("logged %q", notes.String())
		}
	})
	t.Run("bit turned", func(t *testing.T) {
		bad := bytes.Clone(whole)
		bad[len(bad)-10] ^= 4 // in the last block
		src := mustOpen(t, writeFile(t, "x.flac", bad), Options{})
		dst := make([]float64, 1000)
		read := 0
		for {
			b, err := src.Read(t.Context(), dst)
			read += len(b.Samples)
			if err == nil {
				continue
			}
			if !strings.Contains(err.Error(), "x.flac: FLAC block 3") {
				t.Errorf("read: %v, want an error that names the file and block 3", err)
			}
			break
		}
		if read != 512 {
			t.Errorf("%d samples before the error, want 512", read)
		}
	})
}

// TestFLACIsQuiet reads a file whose sample rate makes the FLAC library print a remark for
// every block.
func TestFLACIsQuiet(t *testing.T) {
	silenceFLAC()
	before := log.Writer()
	if _, ok := before.(flacFilter); !ok {
		t.Fatalf("the standard logger writes to a %T, want a flacFilter", before)
	}
	defer log.SetOutput(before)
	var printed bytes.Buffer
	log.SetOutput(flacFilter{&printed})
	readAll(t, mustOpen(t, "testdata/mono24.flac", Options{}), 1000)
	if printed.Len() > 0 {
		t.Errorf("printed %q, want nothing", printed.String())
	}
	log.Print("another line")
	if !strings.Contains(printed.String(), "another line") {
		t.Errorf("printed %q, want another line", printed.String())
	}
}
