package targets

import (
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestMain fixes the seed of the property tests unless one is given, so that a run repeats.
func TestMain(m *testing.M) {
	flag.Parse()
	seed := flag.Lookup("rapid.seed")
	if seed != nil && seed.Value.String() == "0" {
		if err := seed.Value.Set("20741"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	fmt.Println("rapid.seed", seed.Value)
	os.Exit(m.Run())
}

// A row is one row of a table in testdata, by column name.
type row map[string]string

// table reads a CSV file of testdata; testdata/README.md names the sources.
func table(t testing.TB, name string) []row {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	for _, record := range records[1:] {
		r := row{}
		for i, column := range records[0] {
			r[column] = record[i]
		}
		rows = append(rows, r)
	}
	if len(rows) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return rows
}

func (r row) number(t testing.TB, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return x
}

func (r row) integer(t testing.TB, column string) int { return int(r.number(t, column)) }

// unit returns one unit of the last digit printed in a column: published figures are cut as
// often as rounded.
func (r row) unit(column string) float64 {
	_, decimals, _ := strings.Cut(r[column], ".")
	u, _ := strconv.ParseFloat("1e-"+strconv.Itoa(len(decimals)), 64)
	return u
}

func mustInterval(t testing.TB, text string) Interval {
	t.Helper()
	iv, err := ParseInterval(text)
	if err != nil {
		t.Fatal(err)
	}
	return iv
}

func mustTuning(t testing.TB, spec string) *Tuning {
	t.Helper()
	u, err := ParseTuning(spec)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func mustReference(t testing.TB, spec, reference string) *Tuning {
	t.Helper()
	r, err := ParseReference(reference)
	if err != nil {
		t.Fatal(err)
	}
	u, err := mustTuning(t, spec).WithReference(r)
	if err != nil {
		t.Fatal(err)
	}
	return u
}
