package pagetest

import (
	"bufio"
	"io/fs"
	"path"
	"testing"
	"unicode/utf8"

	"tunerd/internal/display/web"
)

// mostColumns is the most characters of a line of the page's JavaScript, so that two stand side by side on a screen.
const mostColumns = 120

func TestLinesOfThePage(t *testing.T) {
	looked := 0
	err := fs.WalkDir(web.Files(), "js", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || path.Ext(name) != ".js" {
			return err
		}
		f, err := web.Files().Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		lines := bufio.NewScanner(f)
		for n := 1; lines.Scan(); n++ {
			looked++
			if wide := utf8.RuneCount(lines.Bytes()); wide > mostColumns {
				t.Errorf("%s:%d has %d characters, want at most %d", name, n, wide, mostColumns)
			}
		}
		return lines.Err()
	})
	if err != nil || looked < 1000 {
		t.Errorf("%d lines, %v", looked, err)
	}
}
