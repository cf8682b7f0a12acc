package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"math/bits"
)

// The written form of a batch, for stores that hold bytes. A batch that has been damaged is told by
// its sum, and says itself of which session it is. All numbers are little-endian; a text is its length
// (uvarint) and its bytes:
//
//	"tun1", uid (text), first and count (uvarint each), then of each reading
//	    file, label, mark (texts), string, fret, harmonic (varint each),
//	    which numbers are known (uint16, bit i for Reading.numbers()[i]), those numbers (float64 each);
//	at the end CRC-32C of all before it (uint32)
const BatchMark = "tun1"

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// MaxBatch is how many readings are written as one batch at most.
const MaxBatch = 512

// AppendBatch appends the written form of a batch of the session of that UID to dst.
func AppendBatch(dst []byte, uid string, b Batch) []byte {
	from := len(dst)
	text := func(s string) { dst = append(binary.AppendUvarint(dst, uint64(len(s))), s...) }
	dst = append(dst, BatchMark...)
	text(uid)
	dst = binary.AppendUvarint(dst, uint64(b.First))
	dst = binary.AppendUvarint(dst, uint64(len(b.Readings)))
	for i := range b.Readings {
		r := &b.Readings[i]
		text(r.File)
		text(r.Label)
		text(r.Mark)
		for _, n := range [...]int{r.String, r.Fret, r.Harmonic} {
			dst = binary.AppendVarint(dst, int64(n))
		}
		known, at := uint16(0), len(dst)
		dst = append(dst, 0, 0)
		for k, x := range r.numbers() {
			if !math.IsNaN(*x) {
				known |= 1 << k
				dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(*x))
			}
		}
		binary.LittleEndian.PutUint16(dst[at:], known)
	}
	return binary.LittleEndian.AppendUint32(dst, crc32.Checksum(dst[from:], castagnoli))
}

// A BatchReader reads written batches, and keeps the texts that occur in many of them once. It serves
// one goroutine.
type BatchReader struct{ texts map[string]string }

// IsSound reports whether data is a written batch that has not been damaged.
func IsSound(data []byte) bool {
	n := len(data) - sumSize
	return n >= len(BatchMark) && string(data[:len(BatchMark)]) == BatchMark &&
		crc32.Checksum(data[:n], castagnoli) == binary.LittleEndian.Uint32(data[n:])
}

// Read appends the readings of a written batch to dst, and returns the UID of their session, the batch
// in dst, and dst. It is an error wrapping ErrDamaged if data is no sound batch.
func (d *BatchReader) Read(data []byte, dst []Reading) (uid string, b Batch, _ []Reading, err error) {
	if !IsSound(data) {
		return "", Batch{}, dst, fmt.Errorf("%w: a batch of readings is not as it was written", ErrDamaged)
	}
	c := cursor{rest: data[len(BatchMark) : len(data)-sumSize], reader: d}
	uid = c.text()
	b.First = int(c.uvarint())
	from := len(dst)
	for range c.uvarint() {
		r := Reading{File: c.text(), Label: c.text(), Mark: c.text(), String: c.varint(), Fret: c.varint(), Harmonic: c.varint()}
		known := c.uint16()
		for k, x := range r.numbers() {
			*x = Unknown
			if known>>k&1 != 0 {
				*x = math.Float64frombits(c.uint64())
			}
		}
		if c.err != nil {
			return "", Batch{}, dst[:from], c.err
		}
		dst = append(dst, r)
	}
	b.Readings = dst[from:]
	return uid, b, dst, c.err
}

// A cursor takes values off the front of bytes; after an error it takes zeros.
type cursor struct {
	rest   []byte
	err    error
	reader *BatchReader
}

var errShort = errors.New("a batch of readings ends early")

func (c *cursor) take(n int) []byte {
	if n < 0 || n > len(c.rest) {
		c.err = errShort
		c.rest = nil
		return nil
	}
	b := c.rest[:n]
	c.rest = c.rest[n:]
	return b
}

func (c *cursor) uvarint() uint64 {
	x, n := binary.Uvarint(c.rest)
	if n <= 0 {
		c.err, c.rest = errShort, nil
		return 0
	}
	c.rest = c.rest[n:]
	return x
}

func (c *cursor) varint() int {
	x, n := binary.Varint(c.rest)
	if n <= 0 {
		c.err, c.rest = errShort, nil
		return 0
	}
	c.rest = c.rest[n:]
	return int(x)
}

func (c *cursor) uint16() uint16 {
	if b := c.take(2); b != nil {
		return binary.LittleEndian.Uint16(b)
	}
	return 0
}

func (c *cursor) uint64() uint64 {
	if b := c.take(8); b != nil {
		return binary.LittleEndian.Uint64(b)
	}
	return 0
}

func (c *cursor) text() string {
	b := c.take(int(c.uvarint()))
	if len(b) == 0 {
		return ""
	}
	if s, ok := c.reader.texts[string(b)]; ok { // no copy is made for the look-up
		return s
	}
	if c.reader.texts == nil || len(c.reader.texts) > mostTexts {
		c.reader.texts = map[string]string{}
	}
	s := string(b)
	c.reader.texts[s] = s
	return s
}

// mostTexts bounds the memory of what keeps texts once.
const mostTexts = 10_000

// CountOf is how many readings a sound written batch has.
func CountOf(data []byte) int {
	c := cursor{rest: data[len(BatchMark):], reader: &BatchReader{}}
	c.take(int(c.uvarint()))
	c.uvarint()
	return int(c.uvarint())
}

// SizeOf is how many bytes of data, which begins with BatchMark, a written batch takes, 0 if it ends before
// it is complete. Whether the batch is sound is not looked at.
func SizeOf(data []byte) int {
	c := cursor{rest: data[len(BatchMark):]}
	skip := func() { c.take(int(c.uvarint())) }
	skip()
	c.uvarint()
	for n := c.uvarint(); n > 0 && c.err == nil; n-- {
		skip()
		skip()
		skip()
		c.varint()
		c.varint()
		c.varint()
		c.take(8 * bits.OnesCount16(c.uint16()))
	}
	c.take(sumSize)
	if c.err != nil {
		return 0
	}
	return len(data) - len(c.rest)
}

// sumSize is in bytes.
const sumSize = 4
