package command

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"tunerd/internal/display/text"
)

const (
	progressDelay = time.Second            // work that is done sooner shows no bar
	progressEvery = 200 * time.Millisecond // between drawings
	progressWidth = 40                     // cells
)

// A progressBar draws on the last line of a terminal how much of the work is done. Results that
// go to the same terminal pass through its writer, so that the two do not mix.
type progressBar struct {
	fraction func() float64

	mu    sync.Mutex
	w     io.Writer
	shown bool
	stop  chan struct{}
	ended sync.WaitGroup
}

// startProgress begins to draw on w, after a while; end must be called.
func startProgress(w io.Writer, fraction func() float64) *progressBar {
	b := &progressBar{w: w, fraction: fraction, stop: make(chan struct{})}
	b.ended.Go(b.run)
	return b
}

func (b *progressBar) run() {
	tick := time.NewTimer(progressDelay)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			b.draw()
			tick.Reset(progressEvery)
		case <-b.stop:
			return
		}
	}
}

func (b *progressBar) draw() {
	b.mu.Lock()
	defer b.mu.Unlock()
	f := b.fraction()
	full := int(f * progressWidth)
	fmt.Fprintf(b.w, "\r[%s%s] %3.0f %%", strings.Repeat("#", full), strings.Repeat(".", progressWidth-full), 100*f)
	b.shown = true
}

// hide clears the line; b.mu must be held.
func (b *progressBar) hide() {
	if b.shown {
		fmt.Fprintf(b.w, "\r%*s\r", progressWidth+8, "")
	}
	b.shown = false
}

// end stops drawing and clears the line.
func (b *progressBar) end() {
	close(b.stop)
	b.ended.Wait()
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hide()
}

// over returns a writer to out that clears the bar before it writes.
func (b *progressBar) over(out io.Writer) io.Writer { return &overBar{b, out} }

type overBar struct {
	bar *progressBar
	out io.Writer
}

func (o *overBar) Write(p []byte) (int, error) {
	o.bar.mu.Lock()
	defer o.bar.mu.Unlock()
	o.bar.hide()
	return o.out.Write(p)
}

// Columns is how wide the terminal is; see text.Columns.
func (o *overBar) Columns() int { return text.Columns(o.out) }
