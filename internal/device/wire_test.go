package device

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestBlockOnTheWire spells out the bytes of a block as doc.go describes them.
func TestBlockOnTheWire(t *testing.T) {
	var out bytes.Buffer
	sent := &Block{Start: 0x0102, Lost: 3, At: time.Unix(0, 4), Samples: []float32{1, -0.5}}
	if err := newWire(nil, &out).sendBlock(sent); err != nil {
		t.Fatal(err)
	}
	want := "b\x20\x00\x00\x00" +
		"\x02\x01\x00\x00\x00\x00\x00\x00" + "\x03\x00\x00\x00\x00\x00\x00\x00" + "\x04\x00\x00\x00\x00\x00\x00\x00" +
		"\x00\x00\x80\x3f" + "\x00\x00\x00\xbf" // 1 and -0.5 in IEEE 754
	if out.String() != want {
		t.Errorf("%q, want %q", out.String(), want)
	}
	k, body, err := newWire(&out, nil).receive()
	if err != nil || k != kindBlock {
		t.Fatalf("%q, %v", k, err)
	}
	var got Block
	if err := parseBlock(body, &got); err != nil {
		t.Fatal(err)
	}
	if got.Start != sent.Start || got.Lost != sent.Lost || !got.At.Equal(sent.At) || !slices.Equal(got.Samples, sent.Samples) {
		t.Errorf("%+v, want %+v", got, sent)
	}
}

func TestWireRefuses(t *testing.T) {
	for _, tt := range []struct{ sent, says string }{
		{"b\xff\xff\xff\xff", "too long"},
		{"b\x04\x00\x00\x00ab", io.ErrUnexpectedEOF.Error()},
		{"b\x04", io.ErrUnexpectedEOF.Error()},
		{"", io.EOF.Error()},
	} {
		if _, _, err := newWire(strings.NewReader(tt.sent), nil).receive(); err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%q: %v, want %s", tt.sent, err, tt.says)
		}
	}
}

func TestWireAllocatesNothing(t *testing.T) {
	var pipe bytes.Buffer
	w := newWire(&pipe, &pipe)
	b := &Block{Samples: make([]float32, BlockLen)}
	allocs := testing.AllocsPerRun(100, func() {
		if w.sendBlock(b) != nil {
			t.Fatal("not sent")
		}
		_, body, err := w.receive()
		if err != nil || parseBlock(body, b) != nil {
			t.Fatal("not received")
		}
	})
	if allocs > 0 {
		t.Errorf("%v allocations for a block, want 0", allocs)
	}
}

// FuzzMessages reads whatever a child may send.
func FuzzMessages(f *testing.F) {
	f.Add([]byte("b\x1c\x00\x00\x00" + strings.Repeat("\x01", 28)))
	f.Add([]byte("o\x02\x00\x00\x00{}a\x08\x00\x00\x0012345678"))
	f.Fuzz(func(t *testing.T, sent []byte) {
		w := newWire(bytes.NewReader(sent), nil)
		for {
			_, body, err := w.receive()
			if err != nil {
				if !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) && !strings.Contains(err.Error(), "too long") {
					t.Fatal(err)
				}
				return
			}
			var b Block
			if parseBlock(body, &b) == nil && (len(b.Samples) == 0 || len(b.Samples) > BlockLen) {
				t.Fatalf("a block of %d samples", len(b.Samples))
			}
			_, _ = parseAsk(body)
		}
	})
}
