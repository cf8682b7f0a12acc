// Package qr shows a text as a QR code (ISO/IEC 18004) in a terminal, for a camera to read.
package qr

import (
	"strings"

	"rsc.io/qr"
)

// quiet is the white margin that the standard asks for, in modules.
const quiet = 4

// Terminal returns the code of text as lines for a terminal, two rows of modules a line, in black on
// white whatever the terminal's colours are.
func Terminal(text string) (string, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		b.WriteString("\x1b[38;5;16;48;5;231m")
		for x := -quiet; x < code.Size+quiet; x++ {
			b.WriteString(halves[index(code.Black(x, y), code.Black(x, y+1))])
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}

// halves are the cells for an upper and a lower module, bit 0 and bit 1.
var halves = [4]string{" ", "▀", "▄", "█"}

func index(upper, lower bool) int {
	i := 0
	if upper {
		i |= 1
	}
	if lower {
		i |= 2
	}
	return i
}
