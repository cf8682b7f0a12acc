package engine

import (
	"sync"

	"tunerd/internal/capture"
)

// A Progress tells how much of a set of recordings has been read. It is safe for several
// goroutines; a nil Progress takes no notice.
type Progress struct {
	mu    sync.Mutex
	files int
	sum   float64 // of the fractions of all files
}

// Fraction returns how much is done, 0 to 1. Each file counts alike, and one whose length is not
// known counts when it is done.
func (p *Progress) Fraction() float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.files == 0 {
		return 0
	}
	return min(p.sum/float64(p.files), 1)
}

func (p *Progress) expect(files int) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.files += files
}

func (p *Progress) add(fraction float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.sum += fraction
}

// A progressPart follows the reading of one file.
type progressPart struct {
	whole   *Progress
	samples int64   // in the file; 0: not known
	done    float64 // fraction told so far
}

// expect asks the source, if it can tell, how long it is.
func (p *progressPart) expect(source capture.Source) {
	if sized, ok := source.(interface{ Len() int64 }); ok {
		p.samples = sized.Len()
	}
}

func (p *progressPart) read(samples int) {
	if p.samples > 0 {
		p.tell(float64(samples) / float64(p.samples))
	}
}

// finish counts the file as done, also if it ended early.
func (p *progressPart) finish() { p.tell(1) }

func (p *progressPart) tell(fraction float64) {
	if p.whole == nil {
		return
	}
	fraction = min(fraction, 1-p.done)
	p.done += fraction
	p.whole.add(fraction)
}
