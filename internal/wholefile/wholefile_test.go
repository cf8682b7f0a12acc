package wholefile

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWrite(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.txt")
	for _, data := range []string{"one", "two"} {
		if err := Write(path, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != data {
			t.Errorf("%q, %v; want %q", got, err, data)
		}
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v; want permissions 600", info.Mode(), err)
	}
	onlyFile(t, dir, "a.txt")
}

// TestErrorsNameTheFile: the folder is missing, or a folder stands in the way of the last step.
func TestErrorsNameTheFile(t *testing.T) {
	dir := t.TempDir()
	inTheWay := filepath.Join(dir, "folder")
	if err := os.MkdirAll(filepath.Join(inTheWay, "kept"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "missing", "a.txt"), inTheWay} {
		err := Write(path, []byte("x"), 0o644)
		if err == nil || !strings.HasPrefix(err.Error(), "cannot write "+path+": ") || strings.Count(err.Error(), dir) != 1 {
			t.Errorf("%v; want %s named, and nothing else", err, path)
		}
	}
	onlyFile(t, dir, "folder")
}

// onlyFile wants that nothing else was left in the folder.
func onlyFile(t *testing.T, dir, name string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 || entries[0].Name() != name {
		t.Errorf("left in the folder: %v, %v", entries, err)
	}
}
