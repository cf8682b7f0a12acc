package strict

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// A placed error speaks of what stands somewhere in a file.
type placed struct {
	error
	path []any // keys, and numbers from 0 in lists, the outer ones first
}

func (e *placed) Unwrap() error { return e.error }

// At says of what in a file err speaks: keys and, in a list, its number from 0, the outer ones
// first. An error that wraps one that has a place leads on to that. A nil err stays nil.
func At(err error, path ...any) error {
	if err == nil {
		return nil
	}
	return &placed{err, path}
}

// Locate begins err with the name of the file and, if At told of what in that TOML it speaks, with
// line:column of it, or of what it would stand in.
func Locate(name string, data []byte, err error) error {
	row, col := place(data, pathOf(err))
	if row == 0 {
		return fmt.Errorf("%s: %w", name, err)
	}
	return fmt.Errorf("%s:%d:%d: %w", name, row, col, err)
}

func pathOf(err error) []any {
	var path []any
	for {
		var e *placed
		if !errors.As(err, &e) {
			return path
		}
		path, err = append(path, e.path...), e.error
	}
}

// place finds the longest beginning of path that is there; row and column count from 1, and are 0
// if nothing of it is.
func place(data []byte, path []any) (row, col int) {
	if len(path) == 0 {
		return 0, 0
	}
	data = bytes.TrimPrefix(data, []byte(byteOrderMark))
	m := placeMap{at: map[string]unstable.Range{}, lists: map[string]int{}}
	m.parser.Reset(data)
	for m.parser.NextExpression() {
		m.expression(m.parser.Expression())
	}
	for n := len(path); n > 0; n-- {
		if r, ok := m.at[joined("", path[:n]...)]; ok {
			start := m.parser.Shape(r).Start
			return start.Line, start.Column
		}
	}
	return 0, 0
}

// A placeMap holds where everything in a file begins. Its paths are written /key/number/key.
type placeMap struct {
	parser unstable.Parser
	at     map[string]unstable.Range
	lists  map[string]int // tables of each [[list]] so far
	table  string         // that the next keys are in
}

func joined(path string, steps ...any) string {
	for _, s := range steps {
		path += fmt.Sprintf("/%v", s)
	}
	return path
}

func (m *placeMap) expression(n *unstable.Node) {
	switch n.Kind {
	case unstable.Table:
		m.table, _ = m.key("", n)
	case unstable.ArrayTable:
		list, last := m.key("", n)
		m.table = joined(list, m.lists[list])
		m.lists[list]++
		m.note(m.table, last)
	case unstable.KeyValue:
		m.keyValue(m.table, n)
	}
}

// key follows the dotted key of n and returns the path of what it names, and its last part. A key
// that names a list of tables leads into its latest.
func (m *placeMap) key(path string, n *unstable.Node) (string, unstable.Range) {
	var last unstable.Range
	for it := n.Key(); it.Next(); {
		if count := m.lists[path]; count > 0 {
			path = joined(path, count-1)
		}
		path, last = joined(path, string(it.Node().Data)), it.Node().Raw
		m.note(path, last)
	}
	return path, last
}

func (m *placeMap) keyValue(path string, n *unstable.Node) {
	path, at := m.key(path, n)
	m.value(path, at, n.Value())
}

// value notes what is inside a list or an inline table. Elements whose own place is not known are
// where their list is.
func (m *placeMap) value(path string, at unstable.Range, n *unstable.Node) {
	switch n.Kind {
	case unstable.InlineTable:
		for it := n.Children(); it.Next(); {
			m.keyValue(path, it.Node())
		}
	case unstable.Array:
		i := 0
		for it := n.Children(); it.Next(); {
			element := it.Node()
			if element.Kind == unstable.Comment {
				continue
			}
			if element.Raw.Length > 0 {
				at = element.Raw
			}
			m.note(joined(path, i), at)
			m.value(joined(path, i), at, element)
			i++
		}
	}
}

func (m *placeMap) note(path string, at unstable.Range) {
	if _, ok := m.at[path]; !ok {
		m.at[path] = at
	}
}
