// Package web is the page of the local server: plain HTML, CSS and ES modules, embedded in the
// program. What it asks the server for is described in docs/server.md.
package web

import (
	"embed"
	"io/fs"
)

//go:embed static
var embedded embed.FS

// Files returns the files of the page; index.html is its entry.
func Files() fs.FS {
	files, err := fs.Sub(embedded, "static")
	if err != nil {
		panic("web: " + err.Error()) // the name is fixed
	}
	return files
}
