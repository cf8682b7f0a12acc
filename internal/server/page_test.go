package server

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"tunerd/internal/display/web"

	"tunerd/internal/bench"
)

func TestPageFiles(t *testing.T) {
	r := newRig(t, "", bench.Settings{}, nil)
	for path, kind := range map[string]string{"/": "text/html; charset=utf-8", "/index.html": "text/html; charset=utf-8", "/js/main.js": "text/javascript; charset=utf-8"} {
		res := r.request(t, "GET", path, "")
		res.Body.Close()
		if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != kind {
			t.Errorf("%s: %s, %s", path, res.Status, res.Header.Get("Content-Type"))
		}
		if status, body := r.do(t, "GET", path, "", "If-None-Match", res.Header.Get("ETag")); status != http.StatusNotModified || body != "" {
			t.Errorf("%s with its own ETag: status %d, %q", path, status, body)
		}
		if status, body := r.do(t, "HEAD", path, ""); status != http.StatusOK || body != "" {
			t.Errorf("HEAD %s: status %d, %q", path, status, body)
		}
		if status, _ := r.do(t, "POST", path, "{}"); status != http.StatusMethodNotAllowed {
			t.Errorf("POST %s: status %d", path, status)
		}
	}
}

// A file lies beside the folder of the page: no path leads to it.
func TestNoPathLeadsOutside(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "static"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"static/index.html": "the page", "secret": "the secret"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r := newRig(t, "", bench.Settings{}, func(c *Config) { c.Page = os.DirFS(filepath.Join(dir, "static")) })
	if _, body := r.do(t, "GET", "/", ""); body != "the page" {
		t.Fatalf("the page itself: %q", body)
	}
	for _, path := range []string{
		"/../secret", "/%2e%2e/secret", "/..%2fsecret", "/..%5csecret", "/static/../../secret", "/./../secret", "//secret", "/js", "/js/",
		"/index.html/../../secret", "/%00", "/secret%00.html", "/.", "/..", "/static/index.html", strings.ReplaceAll(dir, "\\", "/") + "/secret",
	} {
		status, body := r.do(t, "GET", path, "")
		if strings.Contains(body, "the secret") || status == http.StatusOK {
			t.Errorf("%s: status %d, %q", path, status, body)
		}
	}
}

// The page is whole: what index.html names is there.
func TestEmbeddedPage(t *testing.T) {
	page, err := readPage(web.Files())
	if err != nil {
		t.Fatal(err)
	}
	for path, f := range page {
		if f.kind == "" {
			t.Errorf("%s has no content type", path)
		}
	}
	index := string(page["/"].body)
	named := 0
	for _, attribute := range []string{`src="`, `href="`} {
		for _, rest := range strings.Split(index, attribute)[1:] {
			name, _, _ := strings.Cut(rest, `"`)
			if strings.HasPrefix(name, "#") {
				continue
			}
			named++
			if _, ok := page["/"+strings.TrimPrefix(strings.TrimPrefix(name, "."), "/")]; !ok {
				t.Errorf("index.html names %s, which is not there", name)
			}
		}
	}
	if named == 0 {
		t.Error("index.html names no file")
	}
}

func TestPageNeedsAnIndex(t *testing.T) {
	if _, err := readPage(fstest.MapFS{"main.js": {}}); err == nil {
		t.Error("a page without index.html was taken")
	}
}
