package pdf

import (
	_ "embed"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"tunerd/internal/display/figure"
)

// fontTTF has ♯ and ♭, which the fonts that every PDF reader brings do not; see font/README.md.
//
//go:embed font/DejaVuSansCondensed-subset.ttf
var fontTTF []byte

const fontName = "dejavu"

// epoch stands for the time of writing, so that the same board gives the same bytes.
var epoch = time.Unix(0, 0).UTC()

// WriteTemplate writes the board at 1:1, page by page. Lengths are exact to 0.002 mm, as the
// file gives them in hundredths of a point.
func WriteTemplate(w io.Writer, b figure.Board, paper figure.Paper) error {
	t, err := figure.NewTemplate(b, paper)
	if err != nil {
		return err
	}
	file := newFile(b.Title, t.Paper())
	for i := range t.Pages() {
		file.AddPage()
		t.Draw(templatePen{file}, i)
	}
	return file.Output(w)
}

// newFile returns a PDF of upright pages without margins.
func newFile(title string, paper figure.Paper) *fpdf.Fpdf {
	size := fpdf.SizeType{Wd: paper.Width, Ht: paper.Height}
	file := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: size})
	file.SetMargins(0, 0, 0)
	file.SetAutoPageBreak(false, 0)
	file.SetCatalogSort(true)
	file.SetCreationDate(epoch)
	file.SetModificationDate(epoch)
	file.SetTitle(drawable(title), true)
	file.AddUTF8FontFromBytes(fontName, "", fontTTF)
	return file
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

// A templatePen draws on the last page of a PDF, with the classes of a printed Canvas.
type templatePen struct{ *fpdf.Fpdf }

func (p templatePen) Line(x1, y1, x2, y2 float64, class string) {
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

func (p templatePen) Text(x, y, size float64, s, class string) {
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

func (p templatePen) TextUp(x, y, size float64, s, class string) {
	p.TransformBegin()
	p.TransformRotate(90, x, y)
	p.Text(x, y, size, s, class)
	p.TransformEnd()
}
