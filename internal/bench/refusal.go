package bench

import (
	"errors"

	"tunerd/internal/fault"
)

// Codes of what is refused. Programs test for these, never for words of the sentence beside them.
const (
	codeInvalid      = "invalid"       // what was sent is wrong: the sentence names it
	codeNotFound     = "not_found"     // there is no such thing, or no such request
	codeRisk         = "risk"          // a string would come near to breaking; accept_risk takes it
	codeFar          = "far"           // a chord starts far from what it is to be; accept_far takes it
	codeNoInstrument = "no_instrument" // one must be chosen first
	codeNoInput      = "no_input"      // there is nothing to listen to
	codeCheck        = "check"         // one is under way; end_check ends it
	codeNoCheck      = "no_check"      // none is under way
	codeTooEarly     = "too_early"     // too little has been heard for it
	codeCrowded      = "crowded"       // too many at a time
	codeFailed       = "failed"        // what was sent is right, but a file or device of the tuner's failed
	codeBusy         = "busy"          // other work takes too long; the request may be tried again
)

// Statuses as RFC 9110, section 15, has them.
const (
	statusOK          = 200
	statusInvalid     = 400
	statusNotFound    = 404
	statusConflict    = 409
	statusFailed      = 500
	statusUnavailable = 503
)

// A Refusal is an error with its status, as HTTP has it, and a code for programs. Of any other error its kind tells
// whether something of the tuner's failed; without one it is that what was sent is wrong.
type Refusal struct {
	Status int
	Code   string
	Text   string
}

func (e Refusal) Error() string { return e.Text }

// RefusalOf returns what an error comes to.
func RefusalOf(err error) Refusal {
	var refused Refusal
	if errors.As(err, &refused) {
		refused.Text = err.Error() // with what has been said around it
		return refused
	}
	if fault.KindOf(err) != "" {
		return Refusal{statusFailed, codeFailed, err.Error()}
	}
	return Refusal{statusInvalid, codeInvalid, err.Error()}
}

type errorBody struct {
	Error string `json:"error"`
	Code  string `json:"code"`
}

// Refused is the answer to a request that an error has come of.
func Refused(err error) Answer {
	e := RefusalOf(err)
	return JSON(e.Status, errorBody{e.Text, e.Code})
}
