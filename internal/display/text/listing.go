package text

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"

	"tunerd/internal/display"
)

// A Listing is a table that is shown as aligned columns, as CSV, or as JSON Lines.
//
// A cell is a string, int, float64, bool, a slice of these, or anything that encoding/json writes,
// which then belongs in a column without a title. A float64 that is not finite, and nil, are not
// known: empty in a table and in CSV, null in JSON.
type Listing struct {
	Type    string // of the JSON objects
	Columns []Column
	Rows    [][]any // a cell for every column
}

// A Column of a Listing.
type Column struct {
	Name     string  // in JSON and CSV: words_with_unit
	Title    string  // in the table; "" leaves the column out of the table and of CSV
	Decimals int     // of a float64 in the table; JSON and CSV have full precision
	Signed   bool    // a float64 has its sign in the table, also if positive
	Sigma    bool    // an uncertainty: in the table it is never rounded to nothing
	Per      float64 // what the unit in Title is of that in Name: 25.4 for inches of mm; 0 is 1
}

// WriteJSON writes an object a row, with the fields in the order of the columns after "type".
func (l *Listing) WriteJSON(w io.Writer) error {
	out := bufio.NewWriter(w)
	for _, row := range l.Rows {
		out.WriteString(`{"type":` + quoteJSON(l.Type))
		for i, c := range l.Columns {
			value, err := json.Marshal(jsonCell(row[i]))
			if err != nil {
				return err
			}
			out.WriteString("," + quoteJSON(c.Name) + ":")
			out.Write(display.EscapeHidden(value))
		}
		out.WriteString("}\n")
	}
	return out.Flush()
}

func quoteJSON(s string) string {
	b, _ := json.Marshal(s) // a string always marshals
	return string(display.EscapeHidden(b))
}

// jsonCell makes null of what JSON has no number for.
func jsonCell(cell any) any {
	switch x := cell.(type) {
	case float64:
		if !finite(x) {
			return nil
		}
		return noSign(x)
	case []float64:
		cells := make([]any, len(x))
		for i := range x {
			cells[i] = jsonCell(x[i])
		}
		return cells
	}
	return cell
}

// WriteCSV writes comma-separated values (RFC 4180, but lines end with a line feed alone) with a
// header. Slices are parted by spaces.
func (l *Listing) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	var record []string
	for _, c := range l.Columns {
		if c.Title != "" {
			record = append(record, c.Name)
		}
	}
	out.Write(record)
	for _, row := range l.Rows {
		record = record[:0]
		for i, c := range l.Columns {
			if c.Title != "" {
				record = append(record, words(row[i], plain))
			}
		}
		out.Write(record)
	}
	out.Flush()
	return out.Error()
}

// words writes a cell, with number for each float64 in it.
func words(cell any, number func(float64) string) string {
	switch x := cell.(type) {
	case string:
		return x
	case int:
		return strconv.Itoa(x)
	case float64:
		if !finite(x) {
			return ""
		}
		return number(x)
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case []int:
		return joined(x, strconv.Itoa)
	case []string:
		return strings.Join(x, " ")
	case []float64:
		return joined(x, func(f float64) string { return words(f, number) })
	}
	return ""
}

func joined[T any](cells []T, word func(T) string) string {
	all := make([]string, len(cells))
	for i, c := range cells {
		all[i] = word(c)
	}
	return strings.Join(all, " ")
}

// WriteTable writes aligned columns, figures at their decimal points, without the columns in
// which nothing stands.
func (l *Listing) WriteTable(w io.Writer) error {
	var t noteTable
	var shown []column
	for _, row := range l.Rows {
		var cells []string
		for i, c := range l.Columns {
			if c.Title != "" {
				cells = append(cells, Clean(words(row[i], c.number)))
			}
		}
		t.rows = append(t.rows, cells)
	}
	for i, c := range l.Columns {
		if c.Title != "" {
			shown = append(shown, column{c.Title, l.figures(i)})
		}
	}
	var aligned [][]string
	for i, c := range shown {
		if cells, ok := t.align(i, c); ok {
			aligned = append(aligned, cells)
		}
	}
	return writeColumns(w, aligned, nil)
}

// figures says whether column i holds numbers.
func (l *Listing) figures(i int) bool {
	for _, row := range l.Rows {
		switch row[i].(type) {
		case int, float64:
			return true
		}
	}
	return false
}

// number writes x with the column's decimals. What rounds to nothing has no sign.
func (c *Column) number(x float64) string {
	if c.Per != 0 {
		x /= c.Per
	}
	switch {
	case c.Sigma && x > 0:
		return display.Fixed(max(x, math.Pow10(-c.Decimals)), c.Decimals)
	case c.Signed:
		return display.Signed(x, c.Decimals)
	}
	return display.Fixed(x, c.Decimals)
}
