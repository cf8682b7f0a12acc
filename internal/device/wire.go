package device

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// A kind is the first byte of a message.
type kind byte

const (
	kindRequest kind = 'r'
	kindSound   kind = 's'
	kindList    kind = 'l'
	kindOpened  kind = 'o'
	kindBlock   kind = 'b'
	kindAsk     kind = 'a'
	kindFailure kind = 'f'
)

const (
	headLen    = 5       // bytes: kind and length
	blockHead  = 24      // bytes of a block before its samples
	maxMessage = 1 << 20 // bytes: more than any list of devices takes
)

// BlockLen is the most samples of a block, and as many as a device is asked to deliver at a time.
const BlockLen = 512

// A Block is what a device delivered at a time.
type Block struct {
	Start   int64     // number of the first sample since the first one of the recording, lost ones counted
	Lost    int64     // samples known to be lost just before
	At      time.Time // when it came from the audio library
	Samples []float32 // of one channel; full scale is 1
}

// A wire carries messages. Sending and receiving may go on at once, each by one goroutine.
type wire struct {
	in   *bufio.Reader
	out  io.Writer
	head [headLen]byte // of what was received last
	got  []byte        // the rest of it
	put  []byte        // what is sent
}

func newWire(in io.Reader, out io.Writer) *wire {
	return &wire{in: bufio.NewReaderSize(in, 1<<14), out: out}
}

// receive returns the next message. Its body is valid until the next call. io.EOF is the end
// between two messages.
func (w *wire) receive() (kind, []byte, error) {
	if _, err := io.ReadFull(w.in, w.head[:]); err != nil {
		return 0, nil, err
	}
	n := int(binary.LittleEndian.Uint32(w.head[1:]))
	if n > maxMessage {
		return 0, nil, fmt.Errorf("a message of %d bytes is too long", n)
	}
	if cap(w.got) < n {
		w.got = make([]byte, n)
	}
	w.got = w.got[:n]
	if _, err := io.ReadFull(w.in, w.got); err != nil {
		return 0, nil, noEOF(err)
	}
	return kind(w.head[0]), w.got, nil
}

func noEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// begin starts a message; flush completes and sends it in one piece.
func (w *wire) begin(k kind) { w.put = append(w.put[:0], byte(k), 0, 0, 0, 0) }

func (w *wire) flush() error {
	binary.LittleEndian.PutUint32(w.put[1:], uint32(len(w.put)-headLen))
	_, err := w.out.Write(w.put)
	return err
}

func (w *wire) sendJSON(k kind, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.begin(k)
	w.put = append(w.put, body...)
	return w.flush()
}

func (w *wire) sendText(k kind, text string) error {
	w.begin(k)
	w.put = append(w.put, text...)
	return w.flush()
}

func (w *wire) sendAsk(samples int64) error {
	w.begin(kindAsk)
	w.put = binary.LittleEndian.AppendUint64(w.put, uint64(samples))
	return w.flush()
}

func (w *wire) sendSound(samples []float32) error {
	w.begin(kindSound)
	w.putSamples(samples)
	return w.flush()
}

func (w *wire) sendBlock(b *Block) error {
	w.begin(kindBlock)
	w.put = binary.LittleEndian.AppendUint64(w.put, uint64(b.Start))
	w.put = binary.LittleEndian.AppendUint64(w.put, uint64(b.Lost))
	w.put = binary.LittleEndian.AppendUint64(w.put, uint64(b.At.UnixNano()))
	w.putSamples(b.Samples)
	return w.flush()
}

func (w *wire) putSamples(samples []float32) {
	for _, x := range samples {
		w.put = binary.LittleEndian.AppendUint32(w.put, math.Float32bits(x))
	}
}

// parseAsk reads the body of an ask.
func parseAsk(body []byte) (samples int64, err error) {
	if len(body) != 8 {
		return 0, fmt.Errorf("an ask of %d bytes instead of 8", len(body))
	}
	return int64(binary.LittleEndian.Uint64(body)), nil
}

// parseBlock reads the body of a block into b, whose slice it uses.
func parseBlock(body []byte, b *Block) error {
	n := (len(body) - blockHead) / 4
	if n < 1 || n > BlockLen || len(body) != blockHead+4*n {
		return fmt.Errorf("a block of %d bytes instead of %d to %d", len(body), blockHead+4, blockHead+4*BlockLen)
	}
	b.Start = int64(binary.LittleEndian.Uint64(body))
	b.Lost = int64(binary.LittleEndian.Uint64(body[8:]))
	b.At = time.Unix(0, int64(binary.LittleEndian.Uint64(body[16:])))
	b.Samples = appendSamples(b.Samples[:0], body[blockHead:])
	return nil
}

// appendSamples appends the samples of a body, a multiple of 4 bytes, to dst.
func appendSamples(dst []float32, body []byte) []float32 {
	for ; len(body) >= 4; body = body[4:] {
		dst = append(dst, math.Float32frombits(binary.LittleEndian.Uint32(body)))
	}
	return dst
}
