package server

import (
	"context"
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"tunerd/internal/bench"
	"tunerd/internal/service"
)

// A Guard says who is answered.
//
// A browser on this machine will send anything to a loopback address for any page that it shows,
// so the name that the request was made for (Host) and the page that made it (Origin,
// Sec-Fetch-Site) are checked always. A name that is not ours may be one that a foreign page has
// pointed here; an address cannot be pointed.
type Guard struct {
	Token    string            // asked of everybody; empty: of nobody
	Sessions *service.Sessions // of the browsers that have shown it; nil: none is let in by a cookie
	Loopback bool              // only loopback names and addresses are ours
	Names    []string          // other names of this machine
	Secure   bool              // served over TLS
}

// policy lets the page load what it is made of, from the server alone.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; " +
	"connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (g *Guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		g.setHeaders(w.Header(), r)
		switch {
		case !g.knows(r.Host):
			turnAway(w, r, bench.Refusal{Status: http.StatusForbidden, Code: codeOtherName, Text: fmt.Sprintf("this server is not called %.80q", hostName(r.Host))})
		case !ownPage(r):
			turnAway(w, r, bench.Refusal{Status: http.StatusForbidden, Code: codeOtherPage, Text: "requests from other pages are refused"})
		case g.Token == "":
			known(r)
			next.ServeHTTP(w, r)
		case r.URL.Path == "/healthz":
			w.Header().Set("Connection", "close")
			next.ServeHTTP(w, r)
		default:
			g.admit(w, r, next)
		}
	})
}

// turnAway refuses who may not come in, and ends the connection: who is not known keeps no place.
func turnAway(w http.ResponseWriter, r *http.Request, why bench.Refusal) {
	w.Header().Set("Connection", "close")
	refuse(w, r, why)
}

func (g *Guard) setHeaders(h http.Header, r *http.Request) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	if g.Secure || isLoopback(hostName(r.Host)) { // elsewhere browsers ignore it, and complain
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
	}
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "microphone=(self), camera=(), geolocation=()")
}

// knows tells whether the request was made for a name or address of this server.
func (g *Guard) knows(host string) bool {
	name := hostName(host)
	switch {
	case isLoopback(name):
		return true
	case net.ParseIP(name) != nil:
		return !g.Loopback
	}
	return slices.ContainsFunc(g.Names, func(n string) bool { return strings.EqualFold(n, name) })
}

// isLoopback tells whether a name or an address is that of the machine itself.
func isLoopback(name string) bool {
	ip := net.ParseIP(name)
	return strings.EqualFold(name, "localhost") || ip != nil && ip.IsLoopback()
}

// hostName is the host without its port and brackets.
func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		return name
	}
	return strings.Trim(host, "[]")
}

// ownPage tells whether the request comes from a page of this server, or from no page at all.
// Another page may only link to ours.
func ownPage(r *http.Request) bool {
	if origin := r.Header.Get("Origin"); origin != "" {
		u, err := url.Parse(origin)
		if err != nil || !strings.EqualFold(u.Host, r.Host) {
			return false
		}
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	return r.Method == http.MethodGet && r.URL.Path == "/" && r.Header.Get("Sec-Fetch-Mode") == "navigate"
}

// admit answers who has the token in a header, or a session that the link with the token has begun.
func (g *Guard) admit(w http.ResponseWriter, r *http.Request, next http.Handler) {
	if r.URL.Path == "/" && g.Sessions != nil && g.is(r.URL.Query().Get("token")) {
		g.begin(w, r)
		return
	}
	bearer, _ := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	session, inside := g.session(r)
	switch {
	case g.is(bearer):
		known(r)
		next.ServeHTTP(w, r)
	case inside:
		known(r)
		ctx, stop := context.WithCancel(r.Context())
		defer stop()
		defer context.AfterFunc(session, stop)() // what goes on in a session ends with it
		next.ServeHTTP(w, r.WithContext(ctx))
	default:
		w.Header().Set("WWW-Authenticate", "Bearer")
		turnAway(w, r, bench.Refusal{Status: http.StatusUnauthorized, Code: codeNoToken, Text: "open the link that tunerd has printed: it carries the token that is asked for here"})
	}
}

// begin lets a browser in.
func (g *Guard) begin(w http.ResponseWriter, r *http.Request) {
	secret, err := g.Sessions.New(time.Now())
	if err != nil {
		refuse(w, r, bench.Refusal{Status: http.StatusInternalServerError, Code: codeNotKept, Text: err.Error()})
		return
	}
	known(r)
	http.SetCookie(w, g.cookie(r, secret, g.Sessions.Life()))
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// session returns the session that a request belongs to.
func (g *Guard) session(r *http.Request) (context.Context, bool) {
	c, err := r.Cookie(cookieName(r.Host))
	if err != nil || g.Sessions == nil {
		return nil, false
	}
	return g.Sessions.Find(c.Value, time.Now())
}

// leave ends the session that a request belongs to; the cookie goes with the answer.
func (g *Guard) leave(w http.ResponseWriter, r *http.Request) error {
	c, err := r.Cookie(cookieName(r.Host))
	if err != nil || g.Sessions == nil {
		return bench.Refusal{Status: http.StatusConflict, Code: codeNoSession, Text: "this request belongs to no session of a browser"}
	}
	http.SetCookie(w, g.cookie(r, "", -time.Second))
	return g.Sessions.End(c.Value)
}

func (g *Guard) cookie(r *http.Request, secret string, life time.Duration) *http.Cookie {
	return &http.Cookie{
		Name: cookieName(r.Host), Value: secret, Path: "/", MaxAge: int(life.Seconds()),
		HttpOnly: true, Secure: g.Secure, SameSite: http.SameSiteLaxMode, // Strict is not sent after a link from elsewhere
	}
}

func (g *Guard) is(token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(g.Token)) == 1
}

// cookieName differs between the ports of a host, which share their cookies.
func cookieName(host string) string {
	_, port, _ := net.SplitHostPort(host)
	return "tunerd_" + port
}
