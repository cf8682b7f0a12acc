package figure

import (
	_ "embed"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// fontTTF has ♯ and ♭, which the fonts that every PDF reader brings do not; see font/README.md.
//
//go:embed font/DejaVuSansCondensed-subset.ttf
var fontTTF []byte

const fontName = "dejavu"

// pdfEpoch stands for the time of writing, so that the same board gives the same bytes.
var pdfEpoch = time.Unix(0, 0).UTC()

// WriteTemplatePDF writes the board at 1:1, page by page. Lengths are exact to 0.002 mm, as the
// file gives them in hundredths of a point.
func WriteTemplatePDF(w io.Writer, b Board, paper Paper) error {
	t, err := newTemplate(b, paper)
	if err != nil {
		return err
	}
	size := fpdf.SizeType{Wd: t.paper.Width, Ht: t.paper.Height}
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: size})
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(pdfEpoch)
	pdf.SetModificationDate(pdfEpoch)
	pdf.SetTitle(drawable(b.Title), true)
	pdf.AddUTF8FontFromBytes(fontName, "", fontTTF)
	for i := range t.pages {
		pdf.AddPageFormat("P", size)
		t.draw(pdfPen{pdf}, i)
	}
	return pdf.Output(w)
}

// drawable puts a question mark for what the font has no glyph for; of some such characters the
// PDF writer makes no file.
func drawable(s string) string {
	return strings.Map(func(r rune) rune {
		for _, has := range fontRanges {
			if r >= has[0] && r <= has[1] {
				return r
			}
		}
		return '?'
	}, s)
}

// fontRanges are the characters of fontTTF.
var fontRanges = [][2]rune{{0x20, 0x7e}, {0xa0, 0x17f}, {0x370, 0x3ce}, {0x400, 0x45f}, {0x2010, 0x2026}, {0x2032, 0x2033},
	{0x2190, 0x2193}, {0x2212, 0x2212}, {0x266d, 0x266f}}

// A pdfPen draws on the last page of a PDF, with the classes of a printed Canvas.
type pdfPen struct{ *fpdf.Fpdf }

func (p pdfPen) Line(x1, y1, x2, y2 float64, class string) {
	width, grey := 0.2, 0
	switch class {
	case "thin":
		width, grey = 0.1, 0x55
	case "mark":
		width = 0.3
	}
	p.SetLineWidth(width)
	p.SetDrawColor(grey, grey, grey)
	p.Fpdf.Line(x1, y1, x2, y2)
}

func (p pdfPen) Text(x, y, size float64, s, class string) {
	s = drawable(s)
	p.SetFont(fontName, "", size*72/25.4)
	for _, c := range strings.Fields(class) {
		switch c {
		case "end":
			x -= p.GetStringWidth(s)
		case "label":
			x -= p.GetStringWidth(s) / 2
		}
	}
	p.Fpdf.Text(x, y, s)
}

func (p pdfPen) TextUp(x, y, size float64, s, class string) {
	p.TransformBegin()
	p.TransformRotate(90, x, y)
	p.Text(x, y, size, s, class)
	p.TransformEnd()
}
