package server

import (
	"bytes"
	"fmt"
	"io"
	"net/http"

	"tunerd/internal/display/figure"
	"tunerd/internal/setup"
	"tunerd/internal/setup/report"
	"tunerd/internal/setup/report/html"
	"tunerd/internal/setup/report/pdf"
)

// setupAnswers are the requests about an intonation check.
func (s *Server) setupAnswers() map[string]answer {
	return map[string]answer{
		"GET /api/setup":         func(*http.Request) (any, error) { return s.cfg.Tuner.guide.now(), nil },
		"POST /api/setup":        s.postSetup,
		"POST /api/setup/action": s.postAction,
		"DELETE /api/setup":      s.deleteSetup,
		"GET /api/setup/result":  s.getResult,
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

func (s *Server) postSetup(r *http.Request) (any, error) {
	var req setupRequest
	if err := readJSON(r, &req); err != nil {
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
	in := s.cfg.Tuner.instrument()
	if in == nil {
		return nil, errNoInstrument
	}
	g := s.cfg.Tuner.guide
	err := s.alone(r, func() error {
		return g.begin(in, setup.PlanOptions{Notes: req.Notes, Strings: req.Strings, Plucks: settings.Plucks}, settings)
	})
	return g.now(), err
}

func (s *Server) postAction(r *http.Request) (any, error) {
	var body struct {
		Action string `json:"action"`
	}
	if err := readJSON(r, &body); err != nil {
		return nil, err
	}
	g := s.cfg.Tuner.guide
	err := g.act(body.Action)
	return g.now(), err
}

func (s *Server) deleteSetup(*http.Request) (any, error) {
	s.cfg.Tuner.guide.end()
	return s.cfg.Tuner.guide.now(), nil
}

// getResult answers with what has been found so far, in the form of tunerd intonation --json.
func (s *Server) getResult(r *http.Request) (any, error) {
	var b bytes.Buffer
	err := s.report(r, func(r *report.Report) error { return r.WriteJSON(&b) })
	return rawMsg(b.Bytes()), err
}

// report makes a report of what has been heard so far.
func (s *Server) report(r *http.Request, write func(*report.Report) error) error {
	return s.alone(r, func() error {
		return s.cfg.Tuner.guide.with(func(c *setup.Check) error {
			made, err := report.New(c, nil)
			if err != nil {
				return refusal{http.StatusConflict, codeTooEarly, err.Error()}
			}
			return write(made)
		})
	})
}

// reportFiles are what a check can be taken home as. The file of the check itself is what tunerd
// intonation reads.
func (s *Server) reportFiles() map[string]func(*http.Request, io.Writer) error {
	written := func(write func(*report.Report, io.Writer) error) func(*http.Request, io.Writer) error {
		return func(r *http.Request, w io.Writer) error {
			return s.report(r, func(made *report.Report) error { return write(made, w) })
		}
	}
	return map[string]func(*http.Request, io.Writer) error{
		"report.html": written(func(r *report.Report, w io.Writer) error { return html.Write(w, r) }),
		"report.csv":  written((*report.Report).WriteCSV),
		"report.pdf": written(func(r *report.Report, w io.Writer) error {
			paper, err := figure.ParsePaper("a4")
			if err != nil {
				return err
			}
			return pdf.Write(w, r, paper)
		}),
		"check.json": func(_ *http.Request, w io.Writer) error {
			return s.cfg.Tuner.guide.with(func(c *setup.Check) error { return c.Write(w) })
		},
	}
}

var reportKinds = map[string]string{
	"report.html": "text/html; charset=utf-8", "report.csv": "text/csv; charset=utf-8", "report.pdf": "application/pdf", "check.json": "application/json",
}

// serveReport sends a file of the check as a download: a page of its own style has no place among ours.
func (s *Server) serveReport(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	write, ok := s.reportFiles()[name]
	if !ok {
		refuse(w, r, refusal{http.StatusNotFound, codeNotFound, fmt.Sprintf("%.40q is none of report.html, report.pdf, report.csv, check.json", name)})
		return
	}
	var b bytes.Buffer
	if err := write(r, &b); err != nil {
		refuse(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", reportKinds[name])
	h.Set("Content-Disposition", `attachment; filename="intonation-`+name+`"`)
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(b.Bytes())
}
