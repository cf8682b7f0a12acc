package capture

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Format tags of a fmt chunk (mmreg.h of the Windows SDK; RFC 2361).
const (
	tagPCM        = 1
	tagFloat      = 3
	tagExtensible = 0xfffe // the real tag opens a GUID further on
)

// guidTail follows the format tag in the GUIDs that stand for a plain tag.
var guidTail = []byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71}

const (
	maxFmtChunk   = 40     // bytes of a fmt chunk that are looked at
	maxWAVRate    = 768000 // Hz
	sizeElsewhere = 0xffffffff
)

// isWAV reports whether a file that begins with head, 12 bytes or more, is a WAV file: RIFF
// (Microsoft and IBM 1991), or RF64 (EBU Tech 3306) and BW64 (ITU-R BS.2088), the same with
// sizes of 64 bits.
func isWAV(head []byte) bool {
	if len(head) < 12 || string(head[8:12]) != "WAVE" {
		return false
	}
	id := string(head[:4])
	return id == "RIFF" || id == "RF64" || id == "BW64"
}

// newWAVReader reads the chunks up to the audio data of a WAV file. It keeps none of them and
// takes no more memory whatever sizes they announce.
func newWAVReader(in *bufio.Reader) (*pcmReader, error) {
	if _, err := in.Discard(12); err != nil {
		return nil, headerError(err)
	}
	p := &pcmReader{in: in}
	var largeSize int64 // of the data chunk, from a ds64 chunk
	for {
		var chunk [8]byte
		if _, err := io.ReadFull(in, chunk[:]); err != nil {
			if errors.Is(err, io.EOF) {
				return nil, errors.New("no data chunk")
			}
			return nil, headerError(err)
		}
		size := int64(binary.LittleEndian.Uint32(chunk[4:]))
		var err error
		switch string(chunk[:4]) {
		case "data":
			if p.rate == 0 {
				return nil, errors.New("data chunk before the fmt chunk")
			}
			p.size = dataSize(size, largeSize)
			p.left = p.size
			return p, nil
		case "fmt ":
			err = p.readFormat(size)
		case "ds64":
			largeSize, err = readLargeSize(in, size)
		default:
			err = skip(in, size+size%2)
		}
		if err != nil {
			return nil, err
		}
	}
}

// dataSize is the length of the audio data: what the data chunk announces, or the ds64 chunk
// where that says so, or, where a program wrote to a pipe and knew neither, all that follows.
func dataSize(size, large int64) int64 {
	if size == sizeElsewhere && large > 0 {
		return large
	}
	if size == sizeElsewhere || size == 0 {
		return unknownSize
	}
	return size
}

// readLargeSize reads a ds64 chunk of size bytes: sizes of the file, of the data chunk, and
// more that is of no use here.
func readLargeSize(in *bufio.Reader, size int64) (int64, error) {
	var b [16]byte
	if size < int64(len(b)) {
		return 0, fmt.Errorf("ds64 chunk has %d bytes, fewer than 28", size)
	}
	if _, err := io.ReadFull(in, b[:]); err != nil {
		return 0, headerError(err)
	}
	large := binary.LittleEndian.Uint64(b[8:])
	return int64(min(large, math.MaxInt64)), skip(in, size-int64(len(b))+size%2)
}

// readFormat reads a fmt chunk of size bytes.
func (p *pcmReader) readFormat(size int64) error {
	var b [maxFmtChunk]byte
	have := min(size, maxFmtChunk)
	if have < 16 {
		return fmt.Errorf("fmt chunk has %d bytes, fewer than 16", size)
	}
	if _, err := io.ReadFull(p.in, b[:have]); err != nil {
		return headerError(err)
	}
	if err := p.setFormat(b[:have]); err != nil {
		return err
	}
	return skip(p.in, size-have+size%2)
}

// setFormat takes the format from the first bytes, 16 to 40, of a fmt chunk.
func (p *pcmReader) setFormat(b []byte) error {
	le := binary.LittleEndian
	tag, nch, rate := le.Uint16(b), int(le.Uint16(b[2:])), le.Uint32(b[4:])
	align, bits := int(le.Uint16(b[12:])), int(le.Uint16(b[14:]))
	if tag == tagExtensible {
		if len(b) < maxFmtChunk || !bytes.Equal(b[26:40], guidTail) {
			return errors.New("extensible sample format is neither PCM nor float")
		}
		tag = le.Uint16(b[24:])
	}
	if nch < 1 || nch > maxChannels {
		return fmt.Errorf("%d channels is outside 1-%d", nch, maxChannels)
	}
	if rate < 1 || rate > maxWAVRate {
		return fmt.Errorf("sample rate %d Hz is outside 1-%d Hz", rate, maxWAVRate)
	}
	format, err := wavFormat(tag, nch, align, bits)
	if err != nil {
		return err
	}
	p.format, p.nch, p.rate = format, nch, int(rate)
	return nil
}

// wavFormat is the sample format behind a tag, for frames of align bytes. The container of a
// sample may be wider than its bits (24 in 32); the bits then sit at its upper end.
func wavFormat(tag uint16, nch, align, bits int) (sampleFormat, error) {
	width := align / nch // [bytes]
	if align%nch != 0 || width*8 < bits || bits < 1 {
		return sampleFormat{}, fmt.Errorf("frames of %d bytes do not hold %d channels of %d bits", align, nch, bits)
	}
	switch {
	case tag == tagPCM && width <= 4:
		return sampleFormat{bytes: width}, nil
	case tag == tagFloat && width*8 == bits && (width == 4 || width == 8):
		return sampleFormat{bytes: width, float: true}, nil
	}
	return sampleFormat{}, fmt.Errorf("sample format with tag %d and %d bits is not supported; "+
		"accepted are PCM (tag 1) up to 32 bits and float (tag 3) of 32 or 64 bits", tag, bits)
}

// skip passes over n bytes without holding them.
func skip(in io.Reader, n int64) error {
	_, err := io.CopyN(io.Discard, in, n)
	return headerError(err)
}

// headerError says of an end of input that it came too early.
func headerError(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("the file ends in its header")
	}
	return err
}
