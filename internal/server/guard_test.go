package server

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"tunerd/internal/service"
)

func served(g Guard, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	g.wrap(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) })).ServeHTTP(w, r)
	return w
}

const answeredStatus = http.StatusTeapot

func TestHosts(t *testing.T) {
	wide := Guard{Names: []string{"bench", "bench.local"}}
	for _, c := range []struct {
		guard Guard
		host  string
		known bool
	}{
		{Guard{Loopback: true}, "127.0.0.1:8440", true},
		{Guard{Loopback: true}, "127.1.2.3", true},
		{Guard{Loopback: true}, "localhost:8440", true},
		{Guard{Loopback: true}, "LOCALHOST", true},
		{Guard{Loopback: true}, "[::1]:8440", true},
		{Guard{Loopback: true}, "[::1]", true},
		{Guard{Loopback: true}, "192.168.0.7:8440", false},
		{Guard{Loopback: true}, "evil.example", false},
		{Guard{Loopback: true}, "localhost.evil.example:8440", false},
		{Guard{Loopback: true}, "127.0.0.1.evil.example", false},
		{Guard{Loopback: true}, "bench.local", false},
		{Guard{Loopback: true}, "", false},
		{wide, "192.168.0.7:8440", true},
		{wide, "[fd00::2]:8440", true},
		{wide, "Bench.local:8440", true},
		{wide, "evil.example:8440", false},
	} {
		r := httptest.NewRequest("GET", "/api/session", nil)
		r.Host = c.host
		if got := served(c.guard, r).Code; (got == answeredStatus) != c.known || !c.known && got != http.StatusForbidden {
			t.Errorf("loopback %v, Host %q: status %d, known should be %v", c.guard.Loopback, c.host, got, c.known)
		}
	}
}

func TestOrigins(t *testing.T) {
	for _, c := range []struct {
		method, path, origin, site, mode string
		own                              bool
	}{
		{"GET", "/stream", "", "", "", true}, // no browser
		{"PUT", "/api/session", "", "", "", true},
		{"GET", "/stream", "http://127.0.0.1:8440", "same-origin", "cors", true},
		{"PUT", "/api/session", "http://127.0.0.1:8440", "same-origin", "cors", true},
		{"GET", "/", "", "none", "navigate", true},
		{"GET", "/", "", "cross-site", "navigate", true}, // a link
		{"GET", "/api/session", "", "cross-site", "navigate", false},
		{"GET", "/", "", "cross-site", "no-cors", false},
		{"POST", "/", "https://evil.example", "cross-site", "navigate", false},
		{"GET", "/stream", "https://evil.example", "", "", false},
		{"GET", "/microphone", "https://evil.example", "", "websocket", false},
		{"GET", "/stream", "null", "", "", false},
		{"GET", "/stream", "http://127.0.0.1:9999", "same-site", "cors", false}, // another server of this machine
		{"GET", "/stream", "http://127.0.0.1:8440.evil.example", "", "", false},
		{"GET", "/api/session", "", "same-site", "cors", false},
		{"GET", "/js/main.js", "", "cross-site", "no-cors", false},
	} {
		r := httptest.NewRequest(c.method, c.path, nil)
		r.Host = "127.0.0.1:8440"
		for name, value := range map[string]string{"Origin": c.origin, "Sec-Fetch-Site": c.site, "Sec-Fetch-Mode": c.mode} {
			if value != "" {
				r.Header.Set(name, value)
			}
		}
		want := http.StatusForbidden
		if c.own {
			want = answeredStatus
		}
		if got := served(Guard{Loopback: true}, r).Code; got != want {
			t.Errorf("%s %s, Origin %q, Sec-Fetch %s %s: status %d, want %d", c.method, c.path, c.origin, c.site, c.mode, got, want)
		}
	}
}

func TestToken(t *testing.T) {
	sessions, err := service.OpenSessions("")
	if err != nil {
		t.Fatal(err)
	}
	g := Guard{Token: "abcdefghijklmnopqrst", Sessions: sessions}
	ask := func(path string, header ...string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", path, nil)
		r.Host = "192.168.0.7:8440"
		for i := 0; i < len(header); i += 2 {
			r.Header.Set(header[i], header[i+1])
		}
		return served(g, r)
	}
	for path, want := range map[string]int{
		"/": http.StatusUnauthorized, "/stream": http.StatusUnauthorized, "/api/session": http.StatusUnauthorized, "/metrics": http.StatusUnauthorized,
		"/?token=": http.StatusUnauthorized, "/?token=abcdefghijklmnopqrsT": http.StatusUnauthorized,
		"/stream?token=" + g.Token: http.StatusUnauthorized, // the link leads to the page alone
		"/healthz":                 answeredStatus,
	} {
		if got := ask(path).Code; got != want {
			t.Errorf("%s: status %d, want %d", path, got, want)
		}
	}
	if got := ask("/api/session", "Authorization", "Bearer "+g.Token).Code; got != answeredStatus {
		t.Errorf("with the token in the header: status %d", got)
	}
	if got := ask("/api/session", "Authorization", "Bearer x"+g.Token).Code; got != http.StatusUnauthorized {
		t.Errorf("with a wrong token in the header: status %d", got)
	}

	link := ask("/?token=" + g.Token).Result()
	if link.StatusCode != http.StatusSeeOther || link.Header.Get("Location") != "/" {
		t.Fatalf("the link: %s to %q", link.Status, link.Header.Get("Location"))
	}
	cookies := link.Cookies()
	if len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteLaxMode || cookies[0].Name != "tunerd_8440" {
		t.Fatalf("cookies of the link: %+v", cookies)
	}
	if strings.Contains(cookies[0].Value, g.Token) {
		t.Error("the cookie is the token")
	}
	if got := ask("/stream", "Cookie", cookies[0].Name+"="+g.Token).Code; got != http.StatusUnauthorized {
		t.Errorf("with the token as a cookie: status %d", got)
	}
	if got := ask("/stream", "Cookie", cookies[0].Name+"="+cookies[0].Value).Code; got != answeredStatus {
		t.Errorf("with the cookie: status %d", got)
	}
	if got := ask("/stream", "Cookie", "tunerd_1234="+cookies[0].Value).Code; got != http.StatusUnauthorized {
		t.Errorf("with the cookie of another port: status %d", got)
	}
}

// The page may load its own files and nothing else: no inline script or style (W3C Content
// Security Policy Level 3, 'unsafe-inline').
func TestPolicy(t *testing.T) {
	r := httptest.NewRequest("GET", "/", nil)
	r.Host = "evil.example"
	for name, want := range map[string]string{
		"Content-Security-Policy": policy, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
	} {
		if got := served(Guard{Loopback: true}, r).Header().Get(name); got != want {
			t.Errorf("%s: %q, also where refused it should be %q", name, got, want)
		}
	}
}

// Cross-Origin-Opener-Policy counts where the page is trustworthy, over TLS or on the machine itself (W3C Secure
// Contexts, section 3.1); elsewhere browsers ignore it and write a complaint.
func TestOpenerPolicyIsSentWhereItCounts(t *testing.T) {
	for _, c := range []struct {
		secure bool
		host   string
		want   string
	}{
		{false, "127.0.0.1:8440", "same-origin"}, {false, "localhost:8440", "same-origin"}, {false, "[::1]:8440", "same-origin"},
		{false, "192.168.0.7:8440", ""}, {true, "192.168.0.7:8440", "same-origin"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.Host = c.host
		if got := served(Guard{Secure: c.secure}, r).Header().Get("Cross-Origin-Opener-Policy"); got != c.want {
			t.Errorf("secure %v, %s: %q, want %q", c.secure, c.host, got, c.want)
		}
	}
}
