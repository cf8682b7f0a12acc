// Package report writes out what a check of intonation has found: as text, as one HTML page that
// needs nothing else, as PDF, and its readings as CSV and JSON.
//
// Fill a [Report] and call one of its Write methods. All say the same in the same words, which
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
