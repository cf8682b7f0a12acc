package server

import (
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// A Guard says who is answered.
//
// A browser on this machine will send anything to a loopback address for any page that it shows,
// so the name that the request was made for (Host) and the page that made it (Origin,
// Sec-Fetch-Site) are checked always. A name that is not ours may be one that a foreign page has
// pointed here; an address cannot be pointed.
type Guard struct {
	Token    string   // asked of everybody; empty: of nobody
	Loopback bool     // only loopback names and addresses are ours
	Names    []string // other names of this machine
	Secure   bool     // served over TLS
}

// policy lets the page load what it is made of, from the server alone.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; " +
	"connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (g *Guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		setHeaders(w.Header())
		switch {
		case !g.knows(r.Host):
			http.Error(w, fmt.Sprintf("this server is not called %.80q", hostName(r.Host)), http.StatusForbidden)
		case !ownPage(r):
			http.Error(w, "requests from other pages are refused", http.StatusForbidden)
		case g.Token == "" || r.URL.Path == "/healthz":
			next.ServeHTTP(w, r)
		default:
			g.admit(w, r, next)
		}
	})
}

func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "microphone=(self), camera=(), geolocation=()")
}

// knows tells whether the request was made for a name or address of this server.
func (g *Guard) knows(host string) bool {
	name := hostName(host)
	ip := net.ParseIP(name)
	switch {
	case strings.EqualFold(name, "localhost"):
		return true
	case ip != nil:
		return ip.IsLoopback() || !g.Loopback
	}
	return slices.ContainsFunc(g.Names, func(n string) bool { return strings.EqualFold(n, name) })
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

// admit answers who has the token: in a header, in the cookie, or, once, in the link.
func (g *Guard) admit(w http.ResponseWriter, r *http.Request, next http.Handler) {
	if r.URL.Path == "/" && g.is(r.URL.Query().Get("token")) {
		http.SetCookie(w, &http.Cookie{
			Name: cookieName(r.Host), Value: g.Token, Path: "/", MaxAge: int((30 * 24 * time.Hour).Seconds()),
			HttpOnly: true, Secure: g.Secure, SameSite: http.SameSiteLaxMode, // Strict is not sent after a link from elsewhere
		})
		w.Header().Set("Cache-Control", "no-store")
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	bearer, _ := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	cookie, err := r.Cookie(cookieName(r.Host))
	if g.is(bearer) || err == nil && g.is(cookie.Value) {
		next.ServeHTTP(w, r)
		return
	}
	w.Header().Set("WWW-Authenticate", "Bearer")
	http.Error(w, "open the link that tunerd has printed: it carries the token that is asked for here", http.StatusUnauthorized)
}

func (g *Guard) is(token string) bool {
	return subtle.ConstantTimeCompare([]byte(token), []byte(g.Token)) == 1
}

// cookieName differs between the ports of a host, which share their cookies.
func cookieName(host string) string {
	_, port, _ := net.SplitHostPort(host)
	return "tunerd_" + port
}
