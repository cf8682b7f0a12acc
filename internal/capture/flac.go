package capture

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"log"
	"sync"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
)

// flacHead opens every FLAC stream: the signature and the header of the stream information,
// a block of type 0 and 34 bytes (RFC 9639, 8). The block may be the last, bit 7 of byte 4.
var flacHead = []byte{'f', 'L', 'a', 'C', 0, 0, 0, 34}

func isFLAC(head []byte) bool { return bytes.HasPrefix(head, flacHead[:4]) }

// A flacReader reads the frames of a FLAC stream.
type flacReader struct {
	stream *flac.Stream
	block  *frame.Frame // being handed out
	next   int          // index of its first sample not handed out yet
	count  int          // blocks so far
	left   uint64       // frames announced and not read yet
	known  bool         // the length was announced
	scale  float64      // of an integer sample
	err    error        // that ended the stream
}

func newFLACReader(in *bufio.Reader) (*flacReader, error) {
	// Any other first block would be read whole, at the size it announces.
	head, err := in.Peek(len(flacHead))
	if err != nil {
		return nil, headerError(err)
	}
	if head[4]&0x7f != flacHead[4] || !bytes.Equal(head[5:], flacHead[5:]) {
		return nil, errors.New("FLAC stream does not begin with its stream information")
	}
	silenceFLAC()
	stream, err := flac.New(in)
	if err != nil {
		return nil, fmt.Errorf("FLAC header: %w", headerError(err))
	}
	if bits := stream.Info.BitsPerSample; bits < 4 || bits > 32 {
		return nil, fmt.Errorf("FLAC samples of %d bits are not supported; accepted are 4 to 32", bits)
	}
	return &flacReader{
		stream: stream, left: stream.Info.NSamples, known: stream.Info.NSamples != 0,
		scale: 1 / float64(uint64(1)<<(stream.Info.BitsPerSample-1)),
	}, nil
}

func (r *flacReader) channels() int   { return int(r.stream.Info.NChannels) }
func (r *flacReader) sampleRate() int { return int(r.stream.Info.SampleRate) }

func (r *flacReader) readFrames(dst []float64) (int, error) {
	for r.block == nil || r.next == int(r.block.BlockSize) {
		if r.err != nil {
			return 0, r.err
		}
		if r.err = r.readBlock(); r.err != nil {
			return 0, r.err
		}
	}
	nch := r.channels()
	n := min(len(dst)/nch, int(r.block.BlockSize)-r.next)
	for c, sub := range r.block.Subframes {
		for i, v := range sub.Samples[r.next : r.next+n] {
			dst[i*nch+c] = float64(v) * r.scale
		}
	}
	r.next += n
	return n, nil
}

// readBlock decodes the next block of the stream.
func (r *flacReader) readBlock() error {
	block, err := r.stream.Next()
	if errors.Is(err, io.EOF) {
		return r.end()
	}
	if err == nil {
		err = r.decode(block)
	}
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return endNote(fmt.Sprintf("FLAC stream ends in block %d", r.count+1))
	}
	if err != nil {
		return fmt.Errorf("FLAC block %d: %w", r.count+1, err)
	}
	r.block, r.next = block, 0
	r.count++
	r.left -= min(r.left, uint64(block.BlockSize))
	return nil
}

// decode fills block, whose header has been read, and checks that it belongs to the stream.
func (r *flacReader) decode(block *frame.Frame) error {
	info := r.stream.Info
	if block.BitsPerSample == 0 { // as the stream has it
		block.BitsPerSample = info.BitsPerSample
	}
	switch {
	case block.BitsPerSample != info.BitsPerSample:
		return fmt.Errorf("%d bits in a stream of %d bits", block.BitsPerSample, info.BitsPerSample)
	case block.Channels.Count() != int(info.NChannels):
		return fmt.Errorf("%d channels in a stream of %d", block.Channels.Count(), info.NChannels)
	case block.SampleRate != 0 && block.SampleRate != info.SampleRate:
		return fmt.Errorf("sample rate %d Hz in a stream of %d Hz", block.SampleRate, info.SampleRate)
	}
	return block.Parse()
}

func (r *flacReader) end() error {
	if r.known && r.left > 0 {
		return endNote(fmt.Sprintf("FLAC stream ends %d samples early", r.left))
	}
	return io.EOF
}

// silenceFLAC keeps remarks that the FLAC library prints to the standard logger, about sample
// rates it has no test files for, off the terminal. Other lines of that logger pass.
var silenceFLAC = sync.OnceFunc(func() { log.SetOutput(flacFilter{log.Writer()}) })

type flacFilter struct{ io.Writer }

func (f flacFilter) Write(line []byte) (int, error) {
	if bytes.Contains(line, []byte("frame.Frame.parseHeader: The flac library")) {
		return len(line), nil
	}
	return f.Writer.Write(line)
}
