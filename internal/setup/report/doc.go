// Package report says what a check of intonation has found: in words, tables and figures, and writes them as text,
// CSV and JSON. Packages html and pdf below it write the same as one page and as PDF.
//
// Fill a [Report] and call one of its Write methods, or theirs. All say the same in the same words, which
// [Report.Strings] and its neighbours give; ± is one standard error throughout.
package report

import "tunerd/internal/setup"

// A Report is a check with its result, and perhaps an earlier check of the same instrument.
type Report struct {
	Check  *setup.Check
	Result *setup.Result
	Before *setup.Check // nil: none
	// BeforeResult is what Before comes to; set if Before is.
	BeforeResult *setup.Result
	// Warnings are what went wrong while the notes were read.
	Warnings []string
}

// New fits a check and, if before is not nil, an earlier one.
func New(check, before *setup.Check) (*Report, error) {
	r := &Report{Check: check, Before: before}
	var err error
	if r.Result, err = check.Fit(); err != nil {
		return nil, err
	}
	if before != nil {
		if r.BeforeResult, err = before.Fit(); err != nil {
			return nil, err
		}
	}
	return r, nil
}
