package server

import (
	"errors"
	"net/http"
	"strings"
)

// Codes of what is refused. Programs test for these, never for words of the sentence beside them.
const (
	codeInvalid      = "invalid"       // what was sent is wrong: the sentence names it
	codeNotFound     = "not_found"     // there is no such thing, or no such request
	codeMethod       = "method"        // there is, but not by this method
	codeNotJSON      = "not_json"      // the body is not sent as JSON
	codeTooLong      = "too_long"      // the body is
	codeRisk         = "risk"          // a string would come near to breaking; accept_risk takes it
	codeFar          = "far"           // a chord starts far from what it is to be; accept_far takes it
	codeNoInstrument = "no_instrument" // one must be chosen first
	codeNoInput      = "no_input"      // there is nothing to listen to
	codeOtherInput   = "other_input"   // the sound does not come from a page
	codeCheck        = "check"         // one is under way; end_check ends it
	codeNoCheck      = "no_check"      // none is under way
	codeTooEarly     = "too_early"     // too little has been heard for it
	codeCrowded      = "crowded"       // too many at a time
	codeOtherName    = "other_name"    // the request is for a server of another name
	codeOtherPage    = "other_page"    // the request comes from a page that is not ours
	codeNoToken      = "no_token"      // the token is asked for
	codeNoSession    = "no_session"    // there is none to end
	codeBusy         = "busy"          // other work takes too long; the request may be tried again
	codeNotKept      = "not_kept"      // a file could not be written
)

// A refusal is an error with its HTTP status and code. Any other error is a bad request.
type refusal struct {
	status int
	code   string
	text   string
}

func (e refusal) Error() string { return e.text }

// refusalOf returns what an error comes to.
func refusalOf(err error) refusal {
	var refused refusal
	if errors.As(err, &refused) {
		refused.text = err.Error() // with what has been said around it
		return refused
	}
	return refusal{http.StatusBadRequest, codeInvalid, err.Error()}
}

type errorBody struct {
	Error string `json:"error"`
	Code  string `json:"code"`
}

// refuse answers that a request is refused: programs in JSON, people in a line of text.
func refuse(w http.ResponseWriter, r *http.Request, err error) {
	e := refusalOf(err)
	if strings.HasPrefix(r.URL.Path, "/api/") {
		writeJSON(w, e.status, errorBody{e.text, e.code})
		return
	}
	http.Error(w, e.text, e.status)
}
