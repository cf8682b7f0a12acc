package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"tunerd/internal/display/figure"
	"tunerd/internal/setup/report"
	"tunerd/internal/setup/report/html"
	"tunerd/internal/setup/report/pdf"
)

// The page is one file: nothing is fetched, every figure is well-formed XML, and a hostile name
// stays text.
func TestHTML(t *testing.T) {
	r := report.SampleReport(t)
	r.Check.Board.Name = `<script>alert("x")</script>`
	r.Check.Board.Strings[0].Label = "E<4>"
	var b bytes.Buffer
	if err := html.Write(&b, r); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for _, bad := range []string{"<script", "src=", "href=", "url(", "@import", "E<4>", "NaN", "Inf"} {
		if strings.Contains(page, bad) {
			t.Errorf("%q is in the page", bad)
		}
	}
	for _, want := range []string{"&lt;script&gt;", "Before and after", "String 1: the saddle came &#43;", "String 6, E2", "<title>Map of the board: "} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is not in the page", want)
		}
	}
	figures := strings.Split(page, "<figure>")[1:]
	if len(figures) != 7 {
		t.Errorf("%d figures, want the map and six strings", len(figures))
	}
	for _, f := range figures {
		svg, _, _ := strings.Cut(f, "</figure>")
		in := xml.NewDecoder(strings.NewReader(svg))
		for {
			if _, err := in.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Errorf("a figure: %v", err)
				break
			}
		}
	}
}

func TestPDF(t *testing.T) {
	r := report.SampleReport(t)
	var a, b bytes.Buffer
	paper, err := figure.ParsePaper("a4")
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []io.Writer{&a, &b} {
		if err := pdf.Write(w, r, paper); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same report gave two different files")
	}
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("TUNERD_CI") != "" {
			t.Fatal(err)
		}
		t.Skip("pdftotext is not installed")
	}
	file := filepath.Join(t.TempDir(), "a.pdf")
	if err := os.WriteFile(file, a.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-layout", file, "-").CombinedOutput()
	if err != nil {
		t.Fatalf("pdftotext: %v\n%s", err, out)
	}
	for _, want := range []string{"Intonation of Guitar, 12edo", "String 1, E4", "Before you begin", "licensed technician", "string 6, harmonic 3", "±"} {
		if !bytes.Contains(out, []byte(want)) {
			t.Errorf("the PDF does not say %q", want)
		}
	}
}
