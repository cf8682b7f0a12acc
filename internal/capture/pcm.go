package capture

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"tunerd/internal/sampling"
)

// maxChannels is the largest number of channels that is read.
const maxChannels = 64

// A frameReader decodes a recording into frames, one sample per channel.
type frameReader interface {
	channels() int
	sampleRate() int // Hz
	length() int64   // frames, as announced; 0: not known

	// readFrames fills the front of dst with whole frames, channel after channel, full scale
	// at 1, and returns how many: at least one, or 0 with an error. dst holds at least one
	// frame. The end is io.EOF, or an endNote if something was wrong.
	readFrames(dst []float64) (int, error)
}

// An endNote is an io.EOF with a remark: what was wrong with a recording that was read all
// the same.
type endNote string

func (e endNote) Error() string        { return string(e) }
func (e endNote) Is(target error) bool { return target == io.EOF }

// A sampleFormat is a little-endian sample. Integers of one byte are unsigned, wider ones are
// two's complement; narrower values sit in the upper bits, so that full scale is that of the
// container.
type sampleFormat struct {
	bytes int
	float bool
}

// rawFormats are the sample formats of headerless input by name.
var rawFormats = map[string]sampleFormat{
	"s16le": {bytes: 2},
	"s24le": {bytes: 3},
	"s32le": {bytes: 4},
	"f32le": {bytes: 4, float: true},
}

// maxFloatSample is the largest sample, full scale 1, that is believed: 120 dB over full
// scale. What lies beyond, or is no number, is damage and is read as 0.
const maxFloatSample = 1e6

// decode reads len(dst) samples from src and returns how many of them were damaged.
func (f sampleFormat) decode(dst []float64, src []byte) (damaged int64) {
	src = src[:len(dst)*f.bytes]
	switch {
	case f.float:
		return f.decodeFloat(dst, src)
	case f.bytes == 1:
		for i := range dst {
			dst[i] = (float64(src[i]) - 128) / 128
		}
	case f.bytes == 2:
		for i := range dst {
			dst[i] = float64(int16(binary.LittleEndian.Uint16(src[2*i:]))) / (1 << 15)
		}
	case f.bytes == 3:
		for i := range dst {
			b := src[3*i : 3*i+3]
			dst[i] = float64(int32(b[0])<<8|int32(b[1])<<16|int32(b[2])<<24) / (1 << 31)
		}
	default:
		for i := range dst {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(src[4*i:]))) / (1 << 31)
		}
	}
	return 0
}

func (f sampleFormat) decodeFloat(dst []float64, src []byte) (damaged int64) {
	for i := range dst {
		var v float64
		if f.bytes == 4 {
			v = float64(math.Float32frombits(binary.LittleEndian.Uint32(src[4*i:])))
		} else {
			v = math.Float64frombits(binary.LittleEndian.Uint64(src[8*i:]))
		}
		if !(math.Abs(v) <= maxFloatSample) { // also true of NaN
			v = 0
			damaged++
		}
		dst[i] = v
	}
	return damaged
}

// Sizes of audio data, in bytes.
const (
	unknownSize  = math.MaxInt64 // stands for data that last to the end of the input
	streamedSize = 0x7ffff000    // programs that write to a pipe announce this or more, and stop earlier
)

// A pcmReader reads uncompressed frames.
type pcmReader struct {
	in      *bufio.Reader
	format  sampleFormat
	nch     int
	rate    int   // Hz
	size    int64 // [bytes] of audio, as announced, or unknownSize
	left    int64 // [bytes] of audio not read yet
	damaged int64 // samples read as 0
}

func newRawReader(in *bufio.Reader, o Options) (*pcmReader, error) {
	format, ok := rawFormats[o.Raw]
	if !ok {
		return nil, fmt.Errorf("sample format %q is not known; accepted are s16le, s24le, s32le, f32le", o.Raw)
	}
	return &pcmReader{
		in: in, format: format, nch: max(o.Channels, 1), rate: orDefault(o.SampleRate),
		size: unknownSize, left: unknownSize,
	}, nil
}

func orDefault(rate int) int {
	if rate == 0 {
		return sampling.DefaultRate
	}
	return rate
}

func (p *pcmReader) channels() int   { return p.nch }
func (p *pcmReader) sampleRate() int { return p.rate }

func (p *pcmReader) readFrames(dst []float64) (int, error) {
	align := p.nch * p.format.bytes // [bytes] in a frame
	if p.left < int64(align) {
		return 0, p.end(false)
	}
	// One frame is waited for; more are taken only when they are there, so that a pipe that
	// fills in real time is not held up.
	if head, err := p.in.Peek(align); err != nil {
		if errors.Is(err, io.EOF) {
			p.left -= int64(len(head))
			return 0, p.end(p.size < streamedSize)
		}
		return 0, err
	}
	n := min(len(dst)/p.nch, p.in.Buffered()/align, int(min(p.left/int64(align), math.MaxInt32)))
	data, err := p.in.Peek(n * align)
	if err != nil {
		return 0, err
	}
	p.damaged += p.format.decode(dst[:n*p.nch], data)
	p.left -= int64(n * align)
	_, err = p.in.Discard(n * align)
	return n, err
}

// end is the error that ends the recording; cut tells that less was there than announced.
func (p *pcmReader) end(cut bool) error {
	switch {
	case cut:
		return endNote(fmt.Sprintf("data chunk ends after %d of %d bytes", p.size-p.left, p.size))
	case p.damaged > 0:
		return endNote(fmt.Sprintf("%d samples are no usable numbers and were read as 0", p.damaged))
	}
	return io.EOF
}
