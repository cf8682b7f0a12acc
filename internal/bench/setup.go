package bench

import (
	"bytes"
	"fmt"
	"io"

	"tunerd/internal/setup"
	"tunerd/internal/setup/report"
)

// setupAnswers are the requests about an intonation check.
func (b *Bench) setupAnswers() map[string]answer {
	return map[string]answer{
		"GET /api/setup":         func(*asked) (any, error) { return b.cfg.Tuner.guide.now(), nil },
		"POST /api/setup":        b.postSetup,
		"POST /api/setup/action": b.postAction,
		"DELETE /api/setup":      b.deleteSetup,
		"GET /api/setup/result":  b.getResult,

		"GET /api/setup/files/{name}": b.getFile,
	}
}

// A setupRequest begins a check; what is left out is as usual.
type setupRequest struct {
	Notes   int     `json:"notes"`   // of a string
	Strings []int   `json:"strings"` // empty: all
	Plucks  int     `json:"plucks"`  // of a note, at least
	Goal    float64 `json:"goal_cents"`
	Thread  float64 `json:"thread_mm"`
	Fixed   bool    `json:"fixed_bridge"`
	// Relief of the neck in mm, if it was measured.
	Relief *float64 `json:"relief_mm"`
}

// check refuses numbers that no check can be made with; 0 is as usual.
func (req *setupRequest) check() error {
	if req.Notes != 0 {
		if err := bounds.Notes.check("notes", float64(req.Notes)); err != nil {
			return err
		}
	}
	if req.Plucks != 0 {
		if err := bounds.Plucks.check("plucks", float64(req.Plucks)); err != nil {
			return err
		}
	}
	return bounds.ThreadMM.check("thread_mm", req.Thread)
}

func (b *Bench) postSetup(r *asked) (any, error) {
	var req setupRequest
	if err := r.read(&req); err != nil {
		return nil, err
	}
	if err := req.check(); err != nil {
		return nil, err
	}
	settings := setup.UsualSettings
	settings.Thread, settings.Fixed = req.Thread, req.Fixed
	if req.Relief != nil {
		settings.Model = settings.Model.WithRelief(*req.Relief)
	}
	if req.Plucks != 0 {
		settings.Plucks = req.Plucks
		settings.Most = max(settings.Most, 3*req.Plucks)
	}
	if req.Goal != 0 {
		settings.Goal = req.Goal
	}
	if err := settings.Validate(); err != nil {
		return nil, err
	}
	in := b.cfg.Tuner.instrument()
	if in == nil {
		return nil, errNoInstrument
	}
	g := b.cfg.Tuner.guide
	err := b.alone(r, func() error {
		return g.begin(in, setup.PlanOptions{Notes: req.Notes, Strings: req.Strings, Plucks: settings.Plucks}, settings)
	})
	return g.now(), err
}

func (b *Bench) postAction(r *asked) (any, error) {
	var body struct {
		Action string `json:"action"`
	}
	if err := r.read(&body); err != nil {
		return nil, err
	}
	g := b.cfg.Tuner.guide
	err := g.act(body.Action)
	return g.now(), err
}

func (b *Bench) deleteSetup(*asked) (any, error) {
	b.cfg.Tuner.guide.end()
	return b.cfg.Tuner.guide.now(), nil
}

// getResult answers with what has been found so far, in the form of tunerd intonation --json.
func (b *Bench) getResult(r *asked) (any, error) {
	var body bytes.Buffer
	err := b.report(r, func(made *report.Report) error { return made.WriteJSON(&body) })
	return rawMsg(body.Bytes()), err
}

// report makes a report of what has been heard so far.
func (b *Bench) report(r *asked, write func(*report.Report) error) error {
	return b.alone(r, func() error {
		return b.cfg.Tuner.guide.with(func(c *setup.Check) error {
			made, err := report.New(c, nil)
			if err != nil {
				return Refusal{statusConflict, codeTooEarly, err.Error()}
			}
			return write(made)
		})
	})
}

// reportFiles are what a check can be taken home as.
func (b *Bench) reportFiles() []ReportFile {
	return append([]ReportFile{{"report.csv", "text/csv; charset=utf-8", func(w io.Writer, r *report.Report) error { return r.WriteCSV(w) }}}, b.cfg.Reports...)
}

// checkFile is the file of the check itself, which tunerd intonation reads.
const checkFile = "check.json"

// getFile answers with a file of the check to be saved.
func (b *Bench) getFile(r *asked) (any, error) {
	name := r.value("name")
	var body bytes.Buffer
	if name == checkFile {
		err := b.cfg.Tuner.guide.with(func(c *setup.Check) error { return c.Write(&body) })
		return Answer{statusOK, "application/json", "intonation-" + name, body.Bytes()}, err
	}
	names := checkFile
	for _, f := range b.reportFiles() {
		if f.Name == name {
			err := b.report(r, func(made *report.Report) error { return f.Write(&body, made) })
			return Answer{statusOK, f.Type, "intonation-" + name, body.Bytes()}, err
		}
		names += ", " + f.Name
	}
	return nil, Refusal{statusNotFound, codeNotFound, fmt.Sprintf("%.40q is none of %s", name, names)}
}
