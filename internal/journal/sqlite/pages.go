package sqlite

import (
	"encoding/binary"
	"errors"
	"math"
)

// What is read here is the file format of SQLite 3, as its authors have published it ("Database File
// Format", sqlite.org/fileformat2.html): pages, the cells of its trees, and records. SQLite itself gives
// up a tree at the first page that is not right; here each page is read for itself.

// Kinds of the pages of trees.
const (
	interiorIndex = 2
	leafIndex     = 10
	leafTable     = 13
)

const (
	fileHeader  = 100  // bytes of page 1 before its tree
	defaultPage = 4096 // bytes, where the header of the file does not tell
)

// An image is a whole file of SQLite in memory.
type image struct {
	data   []byte
	page   int // bytes of a page
	usable int // of them for what is stored
	free   map[int]bool
}

func newImage(data []byte) (*image, error) {
	if len(data) < fileHeader {
		return nil, errors.New("the file is too short for a journal")
	}
	m := &image{data: data, page: int(binary.BigEndian.Uint16(data[16:]))}
	if m.page == 1 {
		m.page = 1 << 16
	}
	if m.page < 512 || m.page&(m.page-1) != 0 {
		m.page = defaultPage
	}
	m.usable = m.page - int(data[20])
	if m.usable < 480 {
		m.usable = m.page
	}
	m.findFree()
	return m, nil
}

// pages is how many there are.
func (m *image) pages() int { return (len(m.data) + m.page - 1) / m.page }

// at returns page n, from 1; nil if there is none. The last may be cut.
func (m *image) at(n int) []byte {
	if n < 1 || n > m.pages() {
		return nil
	}
	from := (n - 1) * m.page
	return m.data[from:min(from+m.page, len(m.data))]
}

// findFree follows the list of pages that are not in use: what they still hold has been deleted.
func (m *image) findFree() {
	m.free = map[int]bool{}
	trunk := int(binary.BigEndian.Uint32(m.data[32:]))
	for !m.free[trunk] {
		p := m.at(trunk)
		if len(p) < 8 {
			return
		}
		m.free[trunk] = true
		n := min(int(binary.BigEndian.Uint32(p[4:])), len(p)/4-2)
		for i := range n {
			m.free[int(binary.BigEndian.Uint32(p[8+4*i:]))] = true
		}
		trunk = int(binary.BigEndian.Uint32(p))
	}
}

// A record is one row of a table or of an index: nil, int64, float64, string or []byte each.
type record []any

// records calls found for every record that can be read on page n, with its row number in a table, or 0.
func (m *image) records(n int, found func(kind byte, row int64, r record)) {
	p := m.at(n)
	at := 0
	if n == 1 {
		at = fileHeader
	}
	if len(p) < at+12 || m.free[n] {
		return
	}
	kind, cells, header := p[at], int(binary.BigEndian.Uint16(p[at+3:])), 8
	switch kind {
	case interiorIndex:
		header = 12
	case leafIndex, leafTable:
	default:
		return
	}
	for i := range cells {
		pointer := at + header + 2*i
		if pointer+2 > len(p) {
			return
		}
		if row, r, ok := m.cell(kind, p, int(binary.BigEndian.Uint16(p[pointer:]))); ok {
			found(kind, row, r)
		}
	}
}

// cell reads the cell at an offset of a page.
func (m *image) cell(kind byte, p []byte, at int) (row int64, r record, ok bool) {
	if at >= len(p) {
		return 0, nil, false
	}
	rest := p[at:]
	if kind == interiorIndex {
		if len(rest) < 4 {
			return 0, nil, false
		}
		rest = rest[4:] // the page below
	}
	size, rest, ok := varint(rest)
	if ok && kind == leafTable {
		row, rest, ok = varint(rest)
	}
	if !ok || size < 1 || size > int64(len(m.data)) {
		return 0, nil, false
	}
	payload, ok := m.payload(kind, int(size), rest)
	if !ok {
		return 0, nil, false
	}
	r, ok = readRecord(payload)
	return row, r, ok
}

// payload gathers what a cell holds from its page and from those that it overflows to.
func (m *image) payload(kind byte, size int, rest []byte) ([]byte, bool) {
	u := m.usable
	most := (u-12)*64/255 - 23
	if kind == leafTable {
		most = u - 35
	}
	local := size
	if size > most {
		least := (u-12)*32/255 - 23
		if local = least + (size-least)%(u-4); local > most {
			local = least
		}
	}
	if local > len(rest) {
		return nil, false
	}
	if local == size {
		return rest[:size], true
	}
	if local+4 > len(rest) {
		return nil, false
	}
	out := append(make([]byte, 0, size), rest[:local]...)
	for next := int(binary.BigEndian.Uint32(rest[local:])); len(out) < size; {
		p := m.at(next)
		if len(p) < u || m.free[next] {
			return nil, false
		}
		next = int(binary.BigEndian.Uint32(p))
		out = append(out, p[4:min(u, 4+size-len(out))]...)
	}
	return out, true
}

// varint reads an integer of 1 to 9 bytes of 7 bits, the most significant first; all 8 bits of the ninth.
func varint(b []byte) (x int64, rest []byte, ok bool) {
	for i := range min(9, len(b)) {
		if i == 8 {
			return x<<8 | int64(b[8]), b[9:], true
		}
		x = x<<7 | int64(b[i]&0x7f)
		if b[i] < 0x80 {
			return x, b[i+1:], true
		}
	}
	return 0, nil, false
}

// readRecord reads the types and then the values of a row.
func readRecord(b []byte) (record, bool) {
	size, rest, ok := varint(b)
	own := int64(len(b) - len(rest)) // bytes that the size itself takes
	if !ok || size < own || size > int64(len(b)) {
		return nil, false
	}
	types := rest[:size-own]
	values := b[size:]
	var r record
	for len(types) > 0 {
		var t int64
		if t, types, ok = varint(types); !ok {
			return nil, false
		}
		n := valueSize(t)
		if n < 0 || n > len(values) {
			return nil, false
		}
		r = append(r, value(t, values[:n]))
		values = values[n:]
	}
	return r, len(values) == 0
}

// valueSize is how many bytes a value of a type takes; -1: there is no such type.
func valueSize(t int64) int {
	switch {
	case t < 0 || t == 10 || t == 11 || t > math.MaxInt32:
		return -1
	case t >= 12:
		return int(t-12) / 2
	}
	return [...]int{0, 1, 2, 3, 4, 6, 8, 8, 0, 0}[t]
}

func value(t int64, b []byte) any {
	switch {
	case t == 0:
		return nil
	case t == 8 || t == 9:
		return t - 8
	case t == 7:
		return math.Float64frombits(binary.BigEndian.Uint64(b))
	case t >= 12 && t%2 == 0:
		return b
	case t >= 12:
		return string(b)
	}
	x := int64(int8(b[0]))
	for _, c := range b[1:] {
		x = x<<8 | int64(c)
	}
	return x
}

// fields takes the values of a record one after another. ok becomes false when one is of another type.
type fields struct {
	rest record
	ok   bool
}

func (f *fields) next() any {
	if len(f.rest) == 0 {
		f.ok = false
		return nil
	}
	v := f.rest[0]
	f.rest = f.rest[1:]
	return v
}

func (f *fields) text() string {
	s, ok := f.next().(string)
	f.ok = f.ok && ok
	return s
}

func (f *fields) whole() int64 {
	n, ok := f.next().(int64)
	f.ok = f.ok && ok
	return n
}

// number is NaN for null; SQLite stores a whole number as one.
func (f *fields) number() float64 {
	switch x := f.next().(type) {
	case float64:
		return x
	case int64:
		return float64(x)
	case nil:
		return math.NaN()
	}
	f.ok = false
	return 0
}
