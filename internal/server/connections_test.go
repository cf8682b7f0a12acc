package server

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tunerd/internal/service"

	"tunerd/internal/bench"
	"tunerd/internal/bench/benchtest"
)

const testToken = "abcdefghijklmnopqrst"

// guarded asks a token of everybody.
func guarded(t *testing.T) func(*Config) {
	sessions, err := service.OpenSessions("")
	if err != nil {
		t.Fatal(err)
	}
	return func(c *Config) { c.Guard = Guard{Token: testToken, Sessions: sessions} }
}

// Connections on which nobody has shown the token keep nobody out: neither those that say nothing, nor those that
// were refused and stay open.
func TestStrangersKeepNobodyOut(t *testing.T) {
	for name, says := range map[string]string{
		"silent":  "",
		"refused": "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
		"healthy": "GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
	} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, "", bench.Settings{}, guarded(t))
			var open []net.Conn
			for range 2 * maxConns {
				c, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
				if err != nil {
					t.Fatal(err)
				}
				t.Cleanup(func() { c.Close() })
				if _, err := io.WriteString(c, says); err != nil {
					t.Fatal(err)
				}
				open = append(open, c)
			}
			if status, body := r.do(t, "GET", "/api/session", "", "Authorization", "Bearer "+testToken); status != http.StatusOK {
				t.Errorf("with the token: status %d, %s", status, body)
			}
			last := open[len(open)-1]
			if err := last.SetReadDeadline(time.Now().Add(time.Millisecond)); err != nil {
				t.Fatal(err)
			}
			if _, err := last.Read(make([]byte, 1)); says == "" && !errors.Is(err, os.ErrDeadlineExceeded) {
				t.Errorf("the request was answered only after the strangers had gone: %v", err)
			}
		})
	}
}

// A connection of somebody known is never ended for strangers.
func TestKnownConnectionsStay(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, guarded(t))
	res := r.request(t, "GET", "/stream", "", "Authorization", "Bearer "+testToken)
	defer res.Body.Close()
	for range 2 * maxConns {
		c, err := net.Dial("tcp", strings.TrimPrefix(r.url, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
	}
	r.do(t, "PATCH", "/api/session", `{"tuning":"31edo"}`, "Authorization", "Bearer "+testToken)
	for lines := bufio.NewScanner(res.Body); lines.Scan(); {
		if lines.Text() == "event: session" {
			return
		}
	}
	t.Error("the stream has ended")
}

// A session of a browser is ended by itself, and the stream with it.
func TestSessionEnds(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, guarded(t))
	link := r.request(t, "GET", "/?token="+testToken, "")
	link.Body.Close()
	cookie := link.Cookies()[0].Name + "=" + link.Cookies()[0].Value
	stream := r.request(t, "GET", "/stream", "", "Cookie", cookie)
	defer stream.Body.Close()
	if status, body := r.do(t, "DELETE", "/api/access", "", "Cookie", cookie); status != http.StatusOK {
		t.Fatalf("status %d, %s", status, body)
	}
	if _, err := io.Copy(io.Discard, stream.Body); err != nil {
		t.Errorf("the stream of an ended session: %v", err)
	}
	status, body := r.do(t, "GET", "/api/session", "", "Cookie", cookie)
	if status != http.StatusUnauthorized || !strings.Contains(body, `"no_token"`) {
		t.Errorf("with the cookie of an ended session: status %d, %s", status, body)
	}
	if status, _ := r.do(t, "GET", "/api/session", "", "Authorization", "Bearer "+testToken); status != http.StatusOK {
		t.Errorf("the token itself is refused: status %d", status)
	}
}

// secured serves over TLS; the client knows the certificate.
func secured(t *testing.T) *rig {
	t.Helper()
	cert, err := service.Certificate(filepath.Join(t.TempDir(), "certificate.pem"), nil, []net.IP{net.IPv4(127, 0, 0, 1)}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	r := newRig(t, "", bench.Settings{}, func(c *Config) {
		c.Guard.Secure = true
		c.TLS = &tls.Config{Certificates: []tls.Certificate{cert}, NextProtos: []string{"h2", "http/1.1"}}
	})
	roots := x509.NewCertPool()
	roots.AddCert(cert.Leaf)
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, ForceAttemptHTTP2: true}
	t.Cleanup(transport.CloseIdleConnections)
	r.url, r.http = strings.Replace(r.url, "http:", "https:", 1), transport
	return r
}

// Over TLS the version is HTTP/2 (RFC 9113), where the streams of many tabs share a connection: a browser opens no
// more than six of HTTP/1.1.
func TestHTTP2(t *testing.T) {
	r := secured(t)
	var dialled atomic.Int32
	r.http.(*http.Transport).DialContext = func(ctx context.Context, network, address string) (net.Conn, error) {
		dialled.Add(1)
		return new(net.Dialer).DialContext(ctx, network, address)
	}
	var streams []*benchtest.Listener
	for range 8 {
		s := r.listen(t)
		s.Until(t, "hello", nil)
		streams = append(streams, s)
	}
	r.begin(t, pluck(441, 1))
	for _, s := range streams {
		s.Until(t, "frame", func(f map[string]any) bool { return f["hears"] == "sounding" })
	}
	res := r.request(t, "GET", "/api/session", "")
	res.Body.Close()
	if res.ProtoMajor != 2 {
		t.Errorf("answered in %s, want HTTP/2", res.Proto)
	}
	if n := dialled.Load(); n != 1 {
		t.Errorf("%d connections, want one for all", n)
	}
}

// Who forgets the s of https is led there.
func TestPlainHTTPIsLedToTLS(t *testing.T) {
	r := secured(t)
	plain := *r
	plain.url, plain.http = strings.Replace(r.url, "https:", "http:", 1), nil
	res := plain.request(t, "GET", "/js/main.js?x=1", "")
	defer res.Body.Close()
	if want := r.url + "/js/main.js?x=1"; res.StatusCode != http.StatusPermanentRedirect || res.Header.Get("Location") != want {
		t.Errorf("plain HTTP: %s to %q, want a redirect to %q", res.Status, res.Header.Get("Location"), want)
	}
	if status, _ := r.do(t, "GET", "/api/session", ""); status != http.StatusOK {
		t.Errorf("then over TLS: status %d", status)
	}
}

// What was refused is in the log of -v, with its status.
func TestRefusalsAreLogged(t *testing.T) {
	var log lockedBuffer
	r := newRig(t, "", bench.Settings{}, func(c *Config) {
		guarded(t)(c)
		c.Log = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	r.do(t, "GET", "/api/session", "")
	r.do(t, "GET", "/", "", "Host", "evil.example")
	for _, status := range []int{http.StatusUnauthorized, http.StatusForbidden} {
		want := fmt.Sprintf("status=%d", status)
		eventually(t, want+" is logged", func() bool { return strings.Contains(log.String(), want) })
	}
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
