package sound

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// A WAVFormat is how the samples of a WAV file are stored.
type WAVFormat int

const (
	PCM24   WAVFormat = iota // 24-bit integers; ±1 is ±2²³, what lies beyond is clipped
	Float32                  // IEEE 754 single precision, never clipped
)

// Format tags of the fmt chunk.
const (
	tagPCM   = 1
	tagFloat = 3
)

// maxWAVBytes keeps the RIFF size field, which is 32 bits wide, from wrapping.
const maxWAVBytes = math.MaxUint32 - 64

// WriteWAV writes one channel of samples as a RIFF WAVE file.
//
// Source: IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0 (1991),
// and its New Multimedia Data Types supplement (1994) for the float format and its fact chunk.
func WriteWAV(w io.Writer, samples []float64, sampleRate int, format WAVFormat) error {
	bytes := format.bytes()
	if bytes == 0 {
		return fmt.Errorf("wav format %d is not known", format)
	}
	if sampleRate < 1 || int64(sampleRate) > math.MaxUint32/int64(bytes) {
		return fmt.Errorf("wav sample rate %d Hz cannot be stored", sampleRate)
	}
	if int64(len(samples)) > maxWAVBytes/int64(bytes) {
		return fmt.Errorf("%d samples are too long for one wav file, the limit is 4 GiB", len(samples))
	}
	out := bufio.NewWriterSize(w, 1<<15)
	out.Write(wavHeader(len(samples), sampleRate, format)) // a bufio.Writer keeps its first error
	var word [4]byte
	for _, x := range samples {
		if format == PCM24 {
			binary.LittleEndian.PutUint32(word[:], uint32(pcm24(x)))
		} else {
			binary.LittleEndian.PutUint32(word[:], math.Float32bits(float32(x)))
		}
		out.Write(word[:bytes])
	}
	if len(samples)*bytes%2 == 1 {
		out.WriteByte(0) // chunks end on an even byte
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write wav: %w", err)
	}
	return nil
}

func (f WAVFormat) bytes() int {
	switch f {
	case PCM24:
		return 3
	case Float32:
		return 4
	}
	return 0
}

// wavHeader is everything before the samples: a 16-byte fmt chunk for integers, an 18-byte one and
// a fact chunk for float.
func wavHeader(samples, sampleRate int, format WAVFormat) []byte {
	size := format.bytes()
	data := samples * size
	le := binary.LittleEndian
	fmtChunk := make([]byte, 0, 18)
	tag := uint16(tagPCM)
	if format == Float32 {
		tag = tagFloat
	}
	fmtChunk = le.AppendUint16(fmtChunk, tag)
	fmtChunk = le.AppendUint16(fmtChunk, 1) // channels
	fmtChunk = le.AppendUint32(fmtChunk, uint32(sampleRate))
	fmtChunk = le.AppendUint32(fmtChunk, uint32(sampleRate*size))
	fmtChunk = le.AppendUint16(fmtChunk, uint16(size))
	fmtChunk = le.AppendUint16(fmtChunk, uint16(8*size))

	body := []byte("WAVE")
	if format == Float32 {
		fmtChunk = le.AppendUint16(fmtChunk, 0) // no extension
	}
	body = appendChunk(body, "fmt ", fmtChunk)
	if format == Float32 {
		body = appendChunk(body, "fact", le.AppendUint32(nil, uint32(samples)))
	}
	body = le.AppendUint32(append(body, "data"...), uint32(data))
	return append(le.AppendUint32([]byte("RIFF"), uint32(len(body)+data+data%2)), body...)
}

func appendChunk(dst []byte, id string, payload []byte) []byte {
	dst = append(dst, id...)
	dst = binary.LittleEndian.AppendUint32(dst, uint32(len(payload)))
	return append(dst, payload...)
}

// pcm24 rounds x to 24 bits; NaN becomes silence.
func pcm24(x float64) int32 {
	if math.IsNaN(x) {
		return 0
	}
	return int32(min(max(math.Round(x*(1<<23)), -1<<23), 1<<23-1))
}
