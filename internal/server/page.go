package server

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"

	"tunerd/internal/bench"
)

// A pageFile is a file of the page, ready to be sent.
type pageFile struct {
	body []byte
	kind string // Content-Type
	tag  string // ETag
}

// contentTypes are those of the page's files; the system's own table may lack or change them.
var contentTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".json": "application/json", ".webmanifest": "application/manifest+json",
	".svg": "image/svg+xml", ".png": "image/png", ".ico": "image/x-icon", ".woff2": "font/woff2", ".txt": "text/plain; charset=utf-8",
}

// readPage reads all files of the page by the path that they are asked for. What is not in this
// table is not there: no request can lead anywhere else.
func readPage(files fs.FS) (map[string]pageFile, error) {
	page := map[string]pageFile{}
	err := fs.WalkDir(files, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		body, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		kind := contentTypes[path.Ext(name)]
		if kind == "" {
			kind = mime.TypeByExtension(path.Ext(name))
		}
		sum := sha256.Sum256(body)
		page["/"+name] = pageFile{body, kind, `"` + hex.EncodeToString(sum[:12]) + `"`}
		return nil
	})
	if err != nil {
		return nil, err
	}
	index, ok := page["/index.html"]
	if !ok {
		return nil, fmt.Errorf("the page has no index.html")
	}
	page["/"] = index
	return page, nil
}

func (s *Server) servePage(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		refuse(w, r, bench.Refusal{Status: http.StatusMethodNotAllowed, Code: codeMethod, Text: "pages are only read"})
		return
	}
	file, ok := s.page[r.URL.Path]
	if !ok {
		refuse(w, r, bench.Refusal{Status: http.StatusNotFound, Code: codeNotFound, Text: "there is no such page"})
		return
	}
	h := w.Header()
	h.Set("Content-Type", file.kind)
	h.Set("ETag", file.tag)
	h.Set("Cache-Control", "no-cache") // ask each time: the program may be another by then
	if strings.Contains(r.Header.Get("If-None-Match"), file.tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	_, _ = w.Write(file.body)
}
