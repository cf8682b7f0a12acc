package capture

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// TestWAVFormats compares hand-written samples with their values by the definition of each
// format: full scale of an integer of n bits is 2^(n-1), 8 bits are offset binary.
func TestWAVFormats(t *testing.T) {
	pcm := func(bits uint16, data []byte) wavFile {
		return wavFile{tag: 1, channels: 1, rate: 44100, bits: bits, data: data}
	}
	extensible := func(w wavFile, tag uint16) wavFile {
		w.tag, w.guid = 0xfffe, guid(tag)
		return w
	}
	wider := func(w wavFile, align uint16) wavFile {
		w.align = align
		return w
	}
	float32s := wavFile{tag: 3, channels: 1, rate: 48000, bits: 32, data: littleEndian([]float32{0, -0.5, 1.5})}
	float64s := wavFile{tag: 3, channels: 1, rate: 48000, bits: 64, data: littleEndian([]float64{0, -0.1, 1.5})}
	s24 := []float64{0, 1.0 / (1 << 23), -1, 0.5}
	s32 := []float64{0, 1.0 / (1 << 31), -1, 0.5}
	tests := []struct {
		name string
		file wavFile
		want []float64
	}{
		{"8 bits unsigned", pcm(8, []byte{0, 128, 255, 64}), []float64{-1, 0, 127.0 / 128, -0.5}},
		{"16 bits", pcm(16, le16(0, 1, -32768, 16384)), []float64{0, 1.0 / 32768, -1, 0.5}},
		{"24 bits", pcm(24, le24(0, 1, -1<<23, 1<<22)), s24},
		{"32 bits", pcm(32, le32(0, 1, -1<<31, 1<<30)), s32},
		{"24 bits in 32", wider(pcm(24, le32(0, 1<<8, -1<<31, 1<<30)), 4), s24},
		{"12 bits in 16", pcm(12, le16(0, 16, -32768, 16384)), []float64{0, 1.0 / 2048, -1, 0.5}},
		{"extensible 16 bits", extensible(pcm(16, le16(0, 1, -32768, 16384)), 1), []float64{0, 1.0 / 32768, -1, 0.5}},
		{"extensible 24 bits in 32", wider(extensible(pcm(24, le32(0, 1<<8, -1<<31, 1<<30)), 1), 4), s24},
		{"float of 32 bits", float32s, []float64{0, -0.5, 1.5}},
		{"float of 64 bits", float64s, []float64{0, -0.1, 1.5}},
		{"extensible float", extensible(float32s, 3), []float64{0, -0.5, 1.5}},
		{"no samples", pcm(16, nil), nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			src := mustOpen(t, writeFile(t, "x.wav", tt.file.bytes()), Options{})
			if src.SampleRate() != int(tt.file.rate) {
				t.Errorf("sample rate %d Hz, want %d Hz", src.SampleRate(), tt.file.rate)
			}
			if got := readAll(t, src, 100); !slices.Equal(got, tt.want) {
				t.Errorf("samples %v, want %v", got, tt.want)
			}
		})
	}
}

// TestWAVChunks has the audio among other chunks and with sizes as programs write them that
// stream, cut or join files.
func TestWAVChunks(t *testing.T) {
	samples := le16(1, 2, 3, 4)
	plain := wavFile{tag: 1, channels: 1, rate: 48000, bits: 16, data: samples}
	with := func(change func(*wavFile)) []byte {
		w := plain
		change(&w)
		return w.bytes()
	}
	ds64 := func(dataSize uint64) []byte {
		b := binary.LittleEndian.AppendUint64(make([]byte, 8), dataSize)
		return chunk("ds64", append(b, make([]byte, 12)...), nil)
	}
	large := func(id string, size uint64) []byte {
		return with(func(w *wavFile) {
			w.id, w.before, w.dataSize = id, ds64(size), pointer[uint32](0xffffffff)
			w.after = chunk("LIST", []byte("not audio"), nil)
		})
	}
	tests := []struct {
		name string
		file []byte
		want int // samples 1, 2, 3…
		note string
	}{
		{"plain", plain.bytes(), 4, ""},
		{"chunks around", with(func(w *wavFile) {
			w.before = chunk("JUNK", make([]byte, 29), nil) // odd: a pad byte follows
			w.between = append(chunk("fact", make([]byte, 4), nil), chunk("PEAK", make([]byte, 16), nil)...)
			w.after = chunk("LIST", []byte("INFO of some kind"), nil)
		}), 4, ""},
		{"long fmt chunk", with(func(w *wavFile) {
			w.fmtSize = pointer[uint32](116)
			w.between = make([]byte, 100)
		}), 4, ""},
		{"streamed, size 0", with(func(w *wavFile) { w.dataSize = pointer[uint32](0) }), 4, ""},
		{"streamed, size all ones", with(func(w *wavFile) { w.dataSize = pointer[uint32](0xffffffff) }), 4, ""},
		{"streamed, size near 2^31", with(func(w *wavFile) { w.dataSize = pointer[uint32](0x7ffff000) }), 4, ""},
		{"cut", plain.bytes()[:44+6], 3, "data chunk ends after 6 of 8 bytes"},
		{"cut within a sample", plain.bytes()[:44+5], 2, "data chunk ends after 5 of 8 bytes"},
		{"half a frame too much", with(func(w *wavFile) { w.data = append(le16(1, 2), 9) }), 2, ""},
		{"RF64", large("RF64", 8), 4, ""},
		{"BW64", large("BW64", 8), 4, ""},
		{"RF64 cut", large("RF64", 1<<40)[:12+8+28+24+8+8], 4, ""},
		{"not a number", with(func(w *wavFile) {
			w.tag, w.bits = 3, 32
			w.data = littleEndian([]float32{1.0 / 32768, 2.0 / 32768, float32(math.NaN()), 1e30, float32(math.Inf(-1))})
		}), 2, "3 samples are no usable numbers"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var log logBuffer
			src := mustOpen(t, writeFile(t, "x.wav", tt.file), Options{Log: logTo(&log)})
			got := readAll(t, src, 100)
			for i, v := range got {
				want := float64(i+1) / 32768
				if i >= tt.want {
					want = 0
				}
				if v != want {
					t.Errorf("sample %d is %v, want %v", i, v, want)
				}
			}
			if len(got) < tt.want {
				t.Errorf("%d samples, want %d", len(got), tt.want)
			}
			if !strings.Contains(log.String(), tt.note) || (tt.note == "") != (log.String() == "") {
				t.Errorf("logged %q, want %q", log.String(), tt.note)
			}
			if n, err := src.Read(t.Context(), make([]float64, 1)); err != io.EOF {
				t.Errorf("read after the end: %v, %v; want io.EOF", n, err)
			}
		})
	}
}

func TestRefusedFiles(t *testing.T) {
	plain := wavFile{tag: 1, channels: 1, rate: 48000, bits: 16, data: le16(1, 2)}
	with := func(change func(*wavFile)) []byte {
		w := plain
		change(&w)
		return w.bytes()
	}
	tests := []struct {
		name string
		file []byte
		want string
	}{
		{"empty", nil, "the file is empty"},
		{"text", []byte("Guten Tag, dies ist kein Klang."), "not a WAV or FLAC recording"},
		{"three bytes", []byte("RIF"), "not a WAV or FLAC recording"},
		{"big-endian", append([]byte("RIFX"), plain.bytes()[4:]...), "not a WAV or FLAC recording"},
		{"AVI", append([]byte("RIFF\x10\x00\x00\x00AVI "), make([]byte, 16)...), "not a WAV or FLAC recording"},
		{"ends in the header", plain.bytes()[:30], "the file ends in its header"},
		{"no data chunk", plain.bytes()[:36], "no data chunk"},
		{"no fmt chunk", with(func(w *wavFile) { w.withoutFmt = true }), "data chunk before the fmt chunk"},
		{"short fmt chunk", with(func(w *wavFile) { w.fmtSize = pointer[uint32](14) }), "fmt chunk has 14 bytes"},
		{"endless fmt chunk", with(func(w *wavFile) { w.fmtSize = pointer[uint32](0x7ffffff0) }), "the file ends in its header"},
		{"endless chunk", with(func(w *wavFile) { w.before = chunk("JUNK", nil, pointer[uint32](0xffffffff)) }), "the file ends in its header"},
		{"ADPCM", with(func(w *wavFile) { w.tag, w.bits, w.align = 2, 4, 1 }), "tag 2 and 4 bits is not supported"},
		{"float of 16 bits", with(func(w *wavFile) { w.tag = 3 }), "tag 3 and 16 bits is not supported"},
		{"PCM of 64 bits", with(func(w *wavFile) { w.bits = 64 }), "tag 1 and 64 bits is not supported"},
		{"other GUID", with(func(w *wavFile) { w.tag, w.guid = 0xfffe, bytes.Repeat([]byte{7}, 16) }), "neither PCM nor float"},
		{"extensible without its part", with(func(w *wavFile) { w.tag = 0xfffe }), "neither PCM nor float"},
		{"no channels", with(func(w *wavFile) { w.channels = 0 }), "0 channels is outside 1-64"},
		{"65 channels", with(func(w *wavFile) { w.channels = 65 }), "65 channels is outside 1-64"},
		{"align 0", with(func(w *wavFile) { w.channels, w.align = 2, 1 }), "frames of 1 bytes do not hold 2 channels of 16 bits"},
		{"bits 0", with(func(w *wavFile) { w.bits, w.align = 0, 2 }), "frames of 2 bytes do not hold 1 channels of 0 bits"},
		{"rate 0", with(func(w *wavFile) { w.rate = 0 }), "sample rate 0 Hz is outside 1-768000 Hz"},
		{"rate 4000", with(func(w *wavFile) { w.rate = 4000 }), "sample rate 4000 Hz is outside 8000-192000 Hz"},
		{"rate 384000", with(func(w *wavFile) { w.rate = 384000 }), "sample rate 384000 Hz is outside 8000-192000 Hz"},
		{"FLAC without stream information", []byte("fLaC\x04\x00\x00\x22vorbis comment first"), "does not begin with its stream information"},
		{"FLAC that ends in the header", []byte("fLaC\x00\x00\x00\x22\x10\x00"), "the file ends in its header"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := writeFile(t, "x.wav", tt.file)
			_, err := Open(t.Context(), path, Options{})
			if err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), path) {
				t.Fatalf("Open: %v, want %q and the path", err, tt.want)
			}
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than a line: %q", err)
			}
		})
	}
}

func TestRefusedSpecs(t *testing.T) {
	dir := t.TempDir()
	stereo := writeFile(t, "x.wav", wavFile{tag: 1, channels: 2, rate: 48000, bits: 16, data: le16(1, 2)}.bytes())
	tests := []struct {
		spec string
		o    Options
		want string
	}{
		{"", Options{}, "no input named"},
		{dir, Options{}, "is a directory"},
		{dir + "/none.wav", Options{}, "none.wav: no such file"},
		{stereo, Options{Channel: 3}, "channel 3 is not there; the recording has 2"},
		{stereo, Options{Channel: -1}, "channel -1 is outside 1-64"},
		{stereo, Options{Raw: "s16le"}, "standard input (-) only"},
		{"-", Options{Raw: "mp3"}, "accepted are s16le, s24le, s32le, f32le"},
		{"-", Options{Raw: "s16le", Channels: 100}, "100 channels is outside 1-64"},
		{"mic", Options{SampleRate: 1000}, "sample rate 1000 Hz is outside 8000-192000 Hz"},
	}
	stdin := os.Stdin
	defer func() { os.Stdin = stdin }()
	os.Stdin, _ = os.Open(stereo)
	defer os.Stdin.Close()
	for _, tt := range tests {
		_, err := Open(t.Context(), tt.spec, tt.o)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("Open(%q, %+v): %v, want %q", tt.spec, tt.o, err, tt.want)
		}
	}
}

func TestChannels(t *testing.T) {
	w := wavFile{tag: 1, channels: 3, rate: 48000, bits: 16, data: le16(300, 600, -900, 3, 6, 9)}
	path := writeFile(t, "x.wav", w.bytes())
	for pick, want := range [][]float64{{0, 6}, {300, 3}, {600, 6}, {-900, 9}} {
		got := readAll(t, mustOpen(t, path, Options{Channel: pick}), 10)
		for i := range want {
			want[i] /= 32768
		}
		if !slices.Equal(got, want) {
			t.Errorf("channel %d: %v, want %v", pick, got, want)
		}
	}
}

// endless is a reader that never ends.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(i)
	}
	return len(p), nil
}
func (endless) Close() error { return nil }

// TestWAVMemory reads 100 MB. What is allocated must not depend on that.
func TestWAVMemory(t *testing.T) {
	w := wavFile{tag: 1, channels: 2, rate: 48000, bits: 16, dataSize: pointer[uint32](100_000_000)}
	in := struct {
		io.Reader
		io.Closer
	}{io.MultiReader(bytes.NewReader(w.bytes()), endless{}), endless{}}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	src, err := openReader(t.Context(), "x.wav", in, false, Options{})
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	dst := make([]float64, 4096)
	for {
		b, err := src.Read(t.Context(), dst)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		total += len(b.Samples)
	}
	runtime.ReadMemStats(&after)
	if total != 25_000_000 {
		t.Errorf("%d samples, want 25000000", total)
	}
	if got := after.TotalAlloc - before.TotalAlloc; got > 1<<20 {
		t.Errorf("%d bytes allocated, want less than 1 MiB", got)
	}
}

func TestReadAllocatesNothing(t *testing.T) {
	for _, bits := range []uint16{8, 16, 24, 32} {
		w := wavFile{tag: 1, channels: 2, rate: 48000, bits: bits, dataSize: pointer[uint32](0)}
		in := struct {
			io.Reader
			io.Closer
		}{io.MultiReader(bytes.NewReader(w.bytes()), endless{}), endless{}}
		src, err := openReader(t.Context(), "x.wav", in, false, Options{})
		if err != nil {
			t.Fatal(err)
		}
		dst := make([]float64, 479)
		allocs := testing.AllocsPerRun(1000, func() {
			if _, err := src.Read(t.Context(), dst); err != nil {
				t.Fatal(err)
			}
		})
		if allocs != 0 {
			t.Errorf("%d bits: Read allocates %v times, want 0", bits, allocs)
		}
	}
}
