package server

import (
	"net/http"
	"strings"

	"tunerd/internal/bench"
)

// Codes of what the server refuses by itself; those of the bench stand beside them in openapi.json.
const (
	codeNotFound   = "not_found"   // there is no such thing, or no such request
	codeMethod     = "method"      // there is, but not by this method
	codeNotJSON    = "not_json"    // the body is not sent as JSON
	codeTooLong    = "too_long"    // the body is
	codeOtherInput = "other_input" // the sound does not come from a page
	codeOtherName  = "other_name"  // the request is for a server of another name
	codeOtherPage  = "other_page"  // the request comes from a page that is not ours
	codeNoToken    = "no_token"    // the token is asked for
	codeNoSession  = "no_session"  // there is none to end
	codeNotKept    = "not_kept"    // a file could not be written
)

// refuse answers that a request is refused: programs in JSON, people in a line of text.
func refuse(w http.ResponseWriter, r *http.Request, err error) {
	if strings.HasPrefix(r.URL.Path, "/api/") {
		write(w, bench.Refused(err))
		return
	}
	e := bench.RefusalOf(err)
	http.Error(w, e.Text, e.Status)
}
