package qr

import (
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A camera sees a picture of the terminal: black on white, two modules a cell. ZBar reads it back.
func TestAnotherReaderReadsIt(t *testing.T) {
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		if os.Getenv("TUNERD_CI") != "" {
			t.Fatal("zbarimg is missing")
		}
		t.Skip("zbarimg is missing (Debian package zbar-tools)")
	}
	for _, text := range []string{
		"http://192.0.2.7:8440/?token=P4OPM2A3KLF6RVDQJ34IL3X45V",
		"https://[fd00:1234:5678:9abc:def0:1234:5678:9abc]:41647/?token=P4OPM2A3KLF6RVDQJ34IL3X45V",
	} {
		code, err := Terminal(text)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "code.png")
		if err := writePNG(path, photograph(t, code)); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(zbar, "--quiet", "--raw", path).Output()
		if err != nil || strings.TrimSpace(string(out)) != text {
			t.Errorf("read as %q, %v; want %q", out, err, text)
		}
	}
}

// photograph draws what a terminal shows, four pixels a module.
func photograph(t *testing.T, code string) image.Image {
	t.Helper()
	const size = 4
	lines := strings.Split(strings.TrimSuffix(code, "\n"), "\n")
	var img *image.Gray
	for row, line := range lines {
		cells, ok := strings.CutPrefix(line, "\x1b[38;5;16;48;5;231m")
		cells, closed := strings.CutSuffix(cells, "\x1b[0m")
		if !ok || !closed {
			t.Fatalf("line %d does not set and reset its colours: %q", row, line)
		}
		for column, cell := range []rune(cells) {
			if img == nil {
				img = image.NewGray(image.Rect(0, 0, size*len([]rune(cells)), 2*size*len(lines)))
			}
			upper, lower := cell == '▀' || cell == '█', cell == '▄' || cell == '█'
			for y := range 2 * size {
				for x := range size {
					shade := color.Gray{255}
					if y < size && upper || y >= size && lower {
						shade.Y = 0
					}
					img.SetGray(column*size+x, 2*row*size+y, shade)
				}
			}
		}
	}
	return img
}

func writePNG(path string, img image.Image) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return png.Encode(f, img)
}

func TestTooLong(t *testing.T) {
	if _, err := Terminal(strings.Repeat("x", 5000)); err == nil {
		t.Error("5000 letters fitted into a code")
	}
}
