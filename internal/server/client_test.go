package server

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"tunerd/internal/bench"
	"tunerd/internal/bench/benchtest"
)

// A client speaks to a bench over HTTP, as benchtest.Client.
type client struct {
	url  string
	http http.RoundTripper // nil: the usual one
}

func (c *client) send(ctx context.Context, method, path string, body []byte, header ...string) (*http.Response, error) {
	req, err := http.NewRequestWithContext(ctx, method, c.url+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	if len(body) > 0 {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			req.Host = header[i+1]
		}
		req.Header.Set(header[i], header[i+1])
	}
	with := http.Client{Transport: c.http, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return with.Do(req)
}

func (c *client) Ask(ctx context.Context, r *bench.Request) bench.Answer {
	path := r.Path
	if len(r.Query) > 0 {
		path += "?" + r.Query.Encode()
	}
	res, err := c.send(ctx, r.Method, path, r.Body, "Content-Type", "application/json")
	if err != nil {
		return bench.Answer{Body: []byte(err.Error())}
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		return bench.Answer{Body: []byte(err.Error())}
	}
	name, _ := strings.CutPrefix(res.Header.Get("Content-Disposition"), `attachment; filename="`)
	return bench.Answer{Status: res.StatusCode, Type: res.Header.Get("Content-Type"), Name: strings.TrimSuffix(name, `"`), Body: body}
}

// Follow reads the stream, by the rules of WHATWG HTML, section 9.2.6, as far as they matter.
func (c *client) Follow(ctx context.Context, tell func(bench.Message) error) error {
	res, err := c.send(ctx, "GET", "/stream", nil)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "text/event-stream" {
		text, _ := io.ReadAll(res.Body)
		return bench.Refusal{Status: res.StatusCode, Text: string(text)}
	}
	lines := bufio.NewScanner(res.Body)
	lines.Buffer(nil, 1<<20)
	var m bench.Message
	for lines.Scan() {
		field, value, _ := bytes.Cut(lines.Bytes(), []byte(": "))
		switch string(field) {
		case "id":
			m.ID = string(value)
		case "event":
			m.Event = string(value)
		case "data":
			m.Data = bytes.Clone(value)
		case "":
			if err := tell(m); err != nil {
				return err
			}
			m = bench.Message{}
		}
	}
	return errors.Join(lines.Err(), ctx.Err())
}

// Everything that the API description lists, asked over HTTP.
func TestBenchOverHTTP(t *testing.T) {
	benchtest.Run(t, func(t *testing.T, b *bench.Bench, tuner *bench.Tuner) benchtest.Client {
		srv, err := New(Config{Bench: b, Tuner: tuner, Page: testPage, Guard: Guard{Loopback: true}})
		if err != nil {
			t.Fatal(err)
		}
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- srv.Serve(ctx, l) }()
		t.Cleanup(func() {
			stop()
			if err := <-ended; err != nil {
				t.Error(err)
			}
		})
		return &client{url: "http://" + l.Addr().String()}
	})
}

// What the server itself refuses has a status and a code, too, and what it answers itself is there.
func TestRequestsOfTheServer(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, nil)
	for _, c := range []struct {
		method, path, body string
		header             []string
		status             int
		code, says         string
	}{
		{"POST", "/api/session/clear", ``, nil, 415, "not_json", "application/json"},
		{"PATCH", "/api/session", `{}`, []string{"Content-Type", "text/plain"}, 415, "not_json", "application/json"},
		{"PATCH", "/api/session", `{"tuning":"` + strings.Repeat("x", maxBody) + `"}`, nil, 413, "too_long", "longer than 65536 bytes"},
		{"DELETE", "/api/access", ``, nil, 409, "no_session", "no session"},
		{"GET", "/microphone", ``, nil, 409, "", "--input browser"},
	} {
		status, body := r.do(t, c.method, c.path, c.body, c.header...)
		var e struct{ Error, Code string }
		if c.code != "" && (json.Unmarshal([]byte(body), &e) != nil || e.Code != c.code) || status != c.status || !strings.Contains(body, c.says) {
			t.Errorf("%s %s %.40s: status %d, %s; want %d, %s", c.method, c.path, c.body, status, body, c.status, c.code)
		}
	}
	var described struct {
		Paths map[string]any
	}
	if status, body := r.do(t, "GET", "/api/openapi.json", ""); status != http.StatusOK || json.Unmarshal([]byte(body), &described) != nil || described.Paths["/api/session"] == nil {
		t.Errorf("the description: status %d, %s", status, fmt.Sprintf("%.80s", body))
	}
}
