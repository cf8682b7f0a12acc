package service

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"tunerd/internal/wholefile"
)

// minToken is the least length of a token that somebody else has chosen.
const minToken = 16

// Dir returns the folder where the program keeps what belongs to its user, and makes it.
func Dir() (string, error) {
	base, err := os.UserConfigDir()
	if err != nil {
		return "", err
	}
	dir := filepath.Join(base, "tunerd")
	return dir, os.MkdirAll(dir, 0o700)
}

// Token returns the token in the file at path, and makes one there if there is no file, so that
// those who have been let in stay so. It is random text of 130 bits, readable by the user alone.
func Token(path string) (string, error) {
	old, err := os.ReadFile(path)
	if err == nil {
		token := strings.TrimSpace(string(old))
		if len(token) < minToken || strings.ContainsFunc(token, notInLink) {
			return "", fmt.Errorf("%s: a token is at least %d letters and digits", path, minToken)
		}
		return token, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	token := rand.Text()
	return token, WriteSecret(path, []byte(token+"\n"))
}

// notInLink finds what would have to be written otherwise in a link or a cookie.
func notInLink(r rune) bool {
	return !('a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9' || r == '-' || r == '_')
}

// WriteSecret writes a file that the user alone can read, whole or not at all.
func WriteSecret(path string, data []byte) error { return wholefile.Write(path, data, 0o600) }
