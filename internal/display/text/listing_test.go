package text

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
)

func TestListing(t *testing.T) {
	l := Listing{Type: "thing", Columns: []Column{
		{Name: "name", Title: "name"}, {Name: "number", Title: "no"}, {Name: "off_cents", Title: "cents", Decimals: 1, Signed: true},
		{Name: "exact", Title: "exact"}, {Name: "frets", Title: "frets"}, {Name: "more"}, {Name: "unknown", Title: "unknown"},
	}, Rows: [][]any{
		{"a, \"b\"", 7, 12.25, true, []int{1, -2}, map[string]int{"x": 1}, nil},
		{"c\x1b", 11, math.NaN(), false, []float64{0.5, math.Inf(1)}, nil, nil},
		{"d", 12, -0.01, false, []string{"x", "y"}, nil, nil},
	}}
	for _, c := range []struct {
		write func(*strings.Builder) error
		want  string
	}{
		{func(b *strings.Builder) error { return l.WriteJSON(b) },
			`{"type":"thing","name":"a, \"b\"","number":7,"off_cents":12.25,"exact":true,"frets":[1,-2],"more":{"x":1},"unknown":null}
{"type":"thing","name":"c\u001b","number":11,"off_cents":null,"exact":false,"frets":[0.5,null],"more":null,"unknown":null}
{"type":"thing","name":"d","number":12,"off_cents":-0.01,"exact":false,"frets":["x","y"],"more":null,"unknown":null}
`},
		{func(b *strings.Builder) error { return l.WriteCSV(b) },
			"name,number,off_cents,exact,frets,unknown\n\"a, \"\"b\"\"\",7,12.25,yes,1 -2,\nc\x1b,11,,no,0.5 ,\nd,12,-0.01,no,x y,\n"},
		{func(b *strings.Builder) error { return l.WriteTable(b) },
			"name    no  cents  exact  frets\na, \"b\"   7  +12.2  yes    1 -2\nc·      11         no     0\nd       12    0.0  no     x y\n"},
	} {
		var b strings.Builder
		if err := c.write(&b); err != nil {
			t.Fatal(err)
		}
		if b.String() != c.want {
			t.Errorf("got\n%swant\n%s", b.String(), c.want)
		}
	}
}

// Arithmetic leaves negative zeros, and uncertainties far below the last decimal: no output shows the
// one, and no table the other as nothing.
func TestListingOfNothings(t *testing.T) {
	l := Listing{Type: "x", Columns: []Column{
		{Name: "a", Title: "a"}, {Name: "b", Title: "b", Signed: true, Decimals: 1}, {Name: "s", Title: "s", Decimals: 4, Sigma: true}, {Name: "h"},
	}}
	zero := math.Copysign(0, -1)
	l.Rows = [][]any{{-0.5, -0.04, 1e-7, []float64{zero}}, {zero, zero, 0.0, []float64{zero}}}
	var table, list, lines bytes.Buffer
	if err := errors.Join(l.WriteTable(&table), l.WriteCSV(&list), l.WriteJSON(&lines)); err != nil {
		t.Fatal(err)
	}
	if want := "a    b       s\n0  0.0  0.0001\n0  0.0  0.0000\n"; table.String() != want {
		t.Errorf("table\n%swant\n%s", table.String(), want)
	}
	if strings.Contains(list.String(), "-0,") || strings.Contains(lines.String(), "-0,") || strings.Contains(lines.String(), "-0]") {
		t.Errorf("negative zero in\n%s%s", list.String(), lines.String())
	}
}
