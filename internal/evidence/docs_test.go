package evidence

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// docs/pitch.md answers questions by file and line; each line must hold the name that stands behind it.
func TestLinesInDocs(t *testing.T) {
	root := filepath.Join("..", "..")
	text, err := os.ReadFile(filepath.Join(root, "docs", "pitch.md"))
	if err != nil {
		t.Fatal(err)
	}
	const least = 12 // references: fewer were not found
	all := regexp.MustCompile("`([a-z/_]+\\.go):(\\d+)` \\(`(\\w+)`\\)").FindAllStringSubmatch(string(text), -1)
	if len(all) < least {
		t.Fatalf("%d references found, want %d or more", len(all), least)
	}
	for _, ref := range all {
		source, err := os.ReadFile(filepath.Join(root, ref[1]))
		if err != nil {
			t.Error(err)
			continue
		}
		n, err := strconv.Atoi(ref[2])
		if err != nil {
			t.Fatal(err)
		}
		if lines := strings.Split(string(source), "\n"); n > len(lines) || !strings.Contains(lines[n-1], ref[3]) {
			at := 0
			for i, line := range lines {
				if strings.Contains(line, ref[3]+"(") && strings.HasPrefix(line, "func") || strings.HasPrefix(line, "type "+ref[3]) {
					at = i + 1
					break
				}
			}
			t.Errorf("%s:%d does not hold %s, which stands in line %d", ref[1], n, ref[3], at)
		}
	}
}
