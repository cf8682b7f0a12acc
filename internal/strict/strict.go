// Package strict reads the small files that people write by hand: instruments, tunings, plans. What
// is wrong with one is said in one line that names the place, and what is accepted there.
package strict

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"
	"unicode"

	"github.com/pelletier/go-toml/v2"
)

// MaxBytes is the most that a file may have.
const MaxBytes = 1 << 20

// byteOrderMark is what some editors write at the beginning.
const byteOrderMark = "\ufeff"

// Read returns the content of a file, up to one byte more than MaxBytes. Its errors begin with
// what the file is to be and its path.
func Read(what, path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", what, path, cause(err))
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s %s is not a file", what, path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", what, path, cause(err))
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", what, path, cause(err))
	}
	return data, nil
}

// cause strips the system call and the path from an error of package os.
func cause(err error) error {
	var e *fs.PathError
	if errors.As(err, &e) {
		return e.Err
	}
	return err
}

// TOML decodes TOML into a struct and refuses keys that it does not have; accepted then
// says which it has, given the unknown key and the text before it on its line. Errors begin with
// line:column.
func TOML(data []byte, into any, accepted func(key toml.Key, before string) string) error {
	data = bytes.TrimPrefix(data, []byte(byteOrderMark))
	err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(into)
	var unknown *toml.StrictMissingError
	var wrong *toml.DecodeError
	switch {
	case errors.As(err, &unknown) && len(unknown.Errors) > 0:
		e := &unknown.Errors[0]
		row, col := e.Position()
		return fmt.Errorf("%d:%d: unknown key %s; %s", row, col, quoted(lastKey(e.Key())), accepted(e.Key(), beforeColumn(data, row, col)))
	case errors.As(err, &wrong):
		row, col := wrong.Position()
		return fmt.Errorf("%d:%d: %s", row, col, decodeMessage(wrong))
	case err != nil:
		return fmt.Errorf(" %s", OneLine(err.Error()))
	}
	return nil
}

// quoted puts a key in quotes, shortened if it is long.
func quoted(key string) string {
	const most = 40
	if r := []rune(key); len(r) > most {
		key = string(r[:most]) + "…"
	}
	return strconv.Quote(key)
}

func lastKey(key toml.Key) string {
	if len(key) == 0 {
		return ""
	}
	return key[len(key)-1]
}

// beforeColumn returns the line with that number up to the column; both count from 1.
func beforeColumn(data []byte, row, col int) string {
	lines := bytes.SplitN(data, []byte("\n"), row+1)
	if row < 1 || row > len(lines) {
		return ""
	}
	line := lines[row-1]
	return string(line[:min(max(col-1, 0), len(line))])
}

// decodeMessage says in the words of the file what the TOML library says in those of Go.
func decodeMessage(e *toml.DecodeError) string {
	message := strings.TrimPrefix(OneLine(e.Error()), "toml: ")
	if _, goType, ok := strings.Cut(message, " of type "); ok {
		message = "wants " + wanted(goType)
	}
	if key := e.Key(); len(key) > 0 {
		return "key " + quoted(lastKey(key)) + ": " + message
	}
	return message
}

// wanted names the TOML value that fills a field of a Go type.
func wanted(goType string) string {
	switch strings.TrimLeft(goType, "*") {
	case "string":
		return `text in quotes, like "12edo"`
	case "float64":
		return "a number"
	case "int":
		return "a whole number"
	case "[]int":
		return "a list of whole numbers, like [2, 4, 6]"
	case "[]string":
		return `a list of intervals in quotes, like ["9/8", "5/4"]`
	}
	return "a table"
}

// OneLine cuts a message of a library to one line without control characters.
func OneLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, s)
}
