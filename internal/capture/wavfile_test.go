package capture

import (
	"bytes"
	"encoding/binary"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

// A wavFile is a WAV file to be, written field by field as the RIFF specification (Microsoft
// and IBM 1991) and the WAVEFORMATEXTENSIBLE page of the Windows SDK have it, right or wrong.
type wavFile struct {
	id         string // "": RIFF
	tag        uint16
	channels   uint16
	rate       uint32
	bits       uint16
	align      uint16 // 0: channels * bytes of bits
	guid       []byte // extensible when set
	before     []byte // chunks before fmt
	between    []byte // chunks between fmt and data
	after      []byte // chunks after data
	data       []byte
	dataSize   *uint32 // nil: the right one
	fmtSize    *uint32 // nil: the right one
	withoutFmt bool
}

func (w wavFile) bytes() []byte {
	le := binary.LittleEndian
	align := w.align
	if align == 0 {
		align = w.channels * ((w.bits + 7) / 8)
	}
	f := le.AppendUint16(nil, w.tag)
	f = le.AppendUint16(f, w.channels)
	f = le.AppendUint32(f, w.rate)
	f = le.AppendUint32(f, w.rate*uint32(align))
	f = le.AppendUint16(f, align)
	f = le.AppendUint16(f, w.bits)
	if w.guid != nil {
		f = le.AppendUint16(f, 22) // bytes to follow
		f = le.AppendUint16(f, w.bits)
		f = le.AppendUint32(f, 0) // channel mask
		f = append(f, w.guid...)
	}
	body := append([]byte("WAVE"), w.before...)
	if !w.withoutFmt {
		body = append(body, chunk("fmt ", f, w.fmtSize)...)
	}
	body = append(body, w.between...)
	body = append(body, chunk("data", w.data, w.dataSize)...)
	body = append(body, w.after...)
	id := w.id
	if id == "" {
		id = "RIFF"
	}
	return append(le.AppendUint32([]byte(id), uint32(len(body))), body...)
}

// chunk is a RIFF chunk, padded to even length; size, if given, is announced in place of the
// real one.
func chunk(id string, data []byte, size *uint32) []byte {
	n := uint32(len(data))
	if size != nil {
		n = *size
	}
	c := append(binary.LittleEndian.AppendUint32([]byte(id), n), data...)
	if len(data)%2 == 1 {
		c = append(c, 0)
	}
	return c
}

// guid is the GUID that stands for a format tag (KSDATAFORMAT_SUBTYPE_… of ksmedia.h).
func guid(tag uint16) []byte {
	return append(binary.LittleEndian.AppendUint16(nil, tag),
		0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71)
}

func pointer[T any](v T) *T { return &v }

// le16, le24 and le32 are little-endian samples.
func le16(v ...int16) []byte { return littleEndian(v) }
func le32(v ...int32) []byte { return littleEndian(v) }
func le24(v ...int32) (b []byte) {
	for _, x := range v {
		b = append(b, byte(x), byte(x>>8), byte(x>>16))
	}
	return b
}

func littleEndian(v any) []byte {
	b, err := binary.Append(nil, binary.LittleEndian, v)
	if err != nil {
		panic(err)
	}
	return b
}

// writeFile puts data into a file of the test's own and returns its path.
func writeFile(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A logBuffer holds what was logged.
type logBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *logBuffer) Write(line []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(line)
}

func (b *logBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

// logTo is a logger whose lines end up in b.
func logTo(b *logBuffer) *slog.Logger { return slog.New(slog.NewTextHandler(b, nil)) }

// readAll reads src to its end in blocks of n samples and checks their positions.
func readAll(t testing.TB, src Source, n int) []float64 {
	t.Helper()
	var all []float64
	dst := make([]float64, n)
	for {
		b, err := src.Read(t.Context(), dst)
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatalf("read after %d samples: %v", len(all), err)
		}
		if len(b.Samples) == 0 || b.Start != int64(len(all)) || b.Lost != 0 {
			t.Fatalf("block of %d samples at %d, %d lost; want one at %d, none lost",
				len(b.Samples), b.Start, b.Lost, len(all))
		}
		all = append(all, b.Samples...)
	}
}

func mustOpen(t testing.TB, spec string, o Options) Source {
	t.Helper()
	src, err := Open(t.Context(), spec, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { src.Close() })
	return src
}
