package capture

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"sync/atomic"

	"golang.org/x/term"

	"tunerd/internal/sampling"
)

const (
	fileBuffer     = 1 << 16 // bytes read ahead
	maxReadSamples = 1 << 13 // samples, over all channels, decoded at a time
)

// A recording is the Source of a file, a pipe or standard input.
type recording struct {
	name    string
	frames  frameReader
	pick    int // channel, from 1; 0 mixes
	scratch []float64
	pos     int64
	err     error // that ended the recording
	log     *slog.Logger
	pipe    *pipe // between in and frames, if reading in may wait; else nil
	in      io.Closer
	closed  atomic.Bool
}

func openPath(ctx context.Context, path string, o Options) (Source, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, bareError(err))
	}
	if info.IsDir() {
		return nil, fmt.Errorf("%s is a directory, not a recording", path)
	}
	f, err := openFile(ctx, path)
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, bareError(err))
	}
	src, err := openStream(ctx, path, f, o)
	if err != nil {
		f.Close()
		return nil, err
	}
	return src, nil
}

// openFile opens a file, but gives up when ctx ends: a named pipe waits for its writer.
func openFile(ctx context.Context, path string) (*os.File, error) {
	type result struct {
		f   *os.File
		err error
	}
	opened := make(chan result, 1)
	go func() {
		f, err := os.Open(path)
		opened <- result{f, err}
	}()
	select {
	case r := <-opened:
		return r.f, r.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// bareError is err without the operation and the path, which the caller names.
func bareError(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// openStream opens what f delivers. It does not close f on failure.
func openStream(ctx context.Context, name string, f *os.File, o Options) (Source, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, bareError(err))
	}
	if info.Mode()&os.ModeCharDevice != 0 && term.IsTerminal(int(f.Fd())) {
		return nil, fmt.Errorf("%s is a terminal; pipe a recording into it", name)
	}
	return openReader(ctx, name, f, !info.Mode().IsRegular(), o)
}

// openReader opens what in delivers; waits tells that a read of it may take any time.
func openReader(ctx context.Context, name string, in io.ReadCloser, waits bool, o Options) (Source, error) {
	r := &recording{name: name, pick: o.Channel, log: o.Log, in: in}
	var bytes io.Reader = in
	if waits {
		r.pipe = newPipe(ctx, in)
		bytes = r.pipe
	}
	err := r.start(bufio.NewReaderSize(bytes, fileBuffer), o)
	if err != nil {
		if r.pipe != nil {
			r.pipe.stop()
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return r, nil
}

// start reads the header and sizes the work space.
func (r *recording) start(in *bufio.Reader, o Options) error {
	frames, err := newFrameReader(in, o)
	if err != nil {
		return err
	}
	if err := checkSampleRate(frames.sampleRate()); err != nil {
		return err
	}
	if r.pick > frames.channels() {
		return fmt.Errorf("channel %d is not there; the recording has %d", r.pick, frames.channels())
	}
	r.frames = frames
	r.scratch = make([]float64, maxReadSamples)
	return nil
}

// newFrameReader tells the kind of a recording by its first bytes.
func newFrameReader(in *bufio.Reader, o Options) (frameReader, error) {
	if o.Raw != "" {
		return newRawReader(in, o)
	}
	head, err := in.Peek(12)
	switch {
	case isWAV(head):
		return newWAVReader(in)
	case isFLAC(head):
		return newFLACReader(in)
	case err != nil && !errors.Is(err, io.EOF):
		return nil, err
	case len(head) == 0:
		return nil, errors.New("the file is empty")
	}
	return nil, errors.New("not a WAV or FLAC recording")
}

func (r *recording) Name() string    { return r.name }
func (r *recording) SampleRate() int { return r.frames.sampleRate() }
func (r *recording) Live() bool      { return false }

func (r *recording) Read(ctx context.Context, dst []float64) (Block, error) {
	if err := ctx.Err(); err != nil {
		return Block{}, err
	}
	if r.closed.Load() {
		return Block{}, fmt.Errorf("%s: %w", r.name, fs.ErrClosed)
	}
	if r.err != nil {
		return Block{}, r.err
	}
	if r.pipe != nil {
		r.pipe.ctx = ctx
	}
	nch := r.frames.channels()
	want := min(len(dst), len(r.scratch)/nch)
	if want == 0 {
		return Block{Start: r.pos}, nil
	}
	n, err := r.frames.readFrames(r.scratch[:want*nch])
	if n == 0 {
		err = r.readError(err)
		if ctx.Err() == nil {
			r.err = err
		}
		return Block{}, err
	}
	sampling.Mix(dst[:n], r.scratch[:n*nch], r.pick)
	b := Block{Samples: dst[:n], Start: r.pos}
	r.pos += int64(n)
	return b, nil
}

// readError makes a plain io.EOF of an end with a remark, which it logs, and names the
// recording in any other error.
func (r *recording) readError(err error) error {
	var note endNote
	if errors.As(err, &note) {
		r.log.Warn(fmt.Sprintf("%s: %s; what was there is used", r.name, note))
		return io.EOF
	}
	if err == io.EOF || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return fmt.Errorf("%s: %w", r.name, bareError(err))
}

func (r *recording) Close() error {
	if r.closed.Swap(true) {
		return nil
	}
	if r.pipe != nil {
		r.pipe.stop()
	}
	if r.in == os.Stdin {
		return nil // not ours, and a read that waits for it would not end
	}
	return r.in.Close()
}
