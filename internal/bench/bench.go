package bench

import (
	"io"
	"time"

	"tunerd/internal/journal"
	"tunerd/internal/setup/report"
)

// Config is what a bench needs.
type Config struct {
	Tuner   *Tuner
	Catalog *Catalog
	// Journal lets use have the user's journal for the time of one request: it may be another program's too, and come
	// and go. nil: there is none.
	Journal func(use func(*journal.Journal) error) error
	Reports []ReportFile // what a check can be taken home as, besides CSV and the check itself
	Version string       // of the program
	Guarded bool         // who asks has shown a token
}

// A ReportFile is a form of the report of an intonation check.
type ReportFile struct {
	Name, Type string // report.pdf, application/pdf
	Write      func(io.Writer, *report.Report) error
}

// A Bench answers requests about a tuner. All its methods may be called from any goroutine.
type Bench struct {
	cfg    Config
	routes []route
	busy   chan struct{} // holds a token while heavy work is done
}

// New returns a bench.
func New(cfg Config) *Bench {
	b := &Bench{cfg: cfg, busy: make(chan struct{}, 1)}
	b.routes = newRoutes(b.answers())
	return b
}

// busyTime is how long a request waits for the heavy work of others.
const busyTime = 10 * time.Second
