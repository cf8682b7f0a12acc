package term

import (
	"strings"
	"unicode/utf8"
)

// letterRows is the height of a block letter in cells at scale 1.
const letterRows = 5

// letters are the large letters of note names and figures. Each is five rows of full and half
// blocks, so a half block is a square pixel.
var letters = map[rune][letterRows]string{
	'A': {" ▄███▄ ", "██▀ ▀██", "███████", "██   ██", "██   ██"},
	'B': {"██████▄", "██   ██", "██████ ", "██   ██", "██████▀"},
	'C': {"▄█████▄", "██   ▀▀", "██     ", "██   ▄▄", "▀█████▀"},
	'D': {"█████▄ ", "██  ▀██", "██   ██", "██  ▄██", "█████▀ "},
	'E': {"███████", "██     ", "█████  ", "██     ", "███████"},
	'F': {"███████", "██     ", "█████  ", "██     ", "██     "},
	'G': {"▄█████▄", "██   ▀▀", "██  ███", "██   ██", "▀█████▀"},
	'H': {"██   ██", "██   ██", "███████", "██   ██", "██   ██"},
	'0': {"▄████▄", "██  ██", "██  ██", "██  ██", "▀████▀"},
	'1': {" ▄██  ", "▀▀██  ", "  ██  ", "  ██  ", "██████"},
	'2': {"▄████▄", "▀▀  ██", " ▄▄██▀", "██▀   ", "██████"},
	'3': {"▄████▄", "▀▀  ██", "  ███ ", "▄▄  ██", "▀████▀"},
	'4': {"   ███", " ▄█▀██", "██  ██", "██████", "    ██"},
	'5': {"██████", "██    ", "█████▄", "▄▄  ██", "▀████▀"},
	'6': {"▄████▄", "██  ▀▀", "█████▄", "██  ██", "▀████▀"},
	'7': {"██████", "    ██", "  ▄██▀", "  ██  ", "  ██  "},
	'8': {"▄████▄", "██  ██", "▄████▄", "██  ██", "▀████▀"},
	'9': {"▄████▄", "██  ██", "▀█████", "▄▄  ██", "▀████▀"},
	'♯': {" ██ ██", "▀██▀██", " ██ ██", "▄██▄██", " ██ ██"},
	'♭': {"██   ", "██   ", "██▀█▄", "██ ██", "███▀ "},
	'+': {"      ", "  ██  ", "██████", "  ██  ", "      "},
	'−': {"      ", "      ", "██████", "      ", "      "},
	'/': {"    ██", "   ▄█▀", "  ██  ", "▄█▀   ", "██    "},
	'↑': {"  ██  ", "▄████▄", "▀▀██▀▀", "  ██  ", "  ██  "},
	'↓': {"  ██  ", "  ██  ", "▄▄██▄▄", "▀████▀", "  ██  "},
	'.': {"  ", "  ", "  ", "  ", "██"},
	':': {"  ", "██", "  ", "██", "  "},
	' ': {"   ", "   ", "   ", "   ", "   "},
}

// same lets other spellings share a letter.
var same = map[rune]rune{'#': '♯', 'b': '♭', '-': '−', '^': '↑', 'v': '↓'}

func letter(r rune) ([letterRows]string, bool) {
	if s, ok := same[r]; ok {
		r = s
	}
	rows, ok := letters[r]
	return rows, ok
}

// bigWidth returns the width in cells of s in block letters, or false if one of them is missing.
func bigWidth(s string, scale int) (int, bool) {
	n := 0
	for i, r := range s {
		rows, ok := letter(r)
		if !ok {
			return 0, false
		}
		if i > 0 {
			n++
		}
		n += utf8.RuneCountInString(rows[0])
	}
	return n * scale, s != ""
}

// putBig writes s in block letters, letterRows·scale cells high, with its top left corner at
// x, y, and returns the column after it. scale is 1 or even. Letters that do not exist are left
// out.
func (c *canvas) putBig(x, y int, s string, scale int, st style) int {
	for i, r := range s {
		rows, _ := letter(r)
		if i > 0 {
			x += scale
		}
		for row, line := range rows {
			col := x
			for _, block := range line {
				c.putBlock(col, y+row*scale, block, scale, st)
				col += scale
			}
		}
		x += scale * utf8.RuneCountInString(rows[0])
	}
	return x
}

// putBlock draws one block of a letter. At an even scale its halves become rows; a larger odd
// scale does not exist.
func (c *canvas) putBlock(x, y int, block rune, scale int, st style) {
	if block == ' ' {
		return
	}
	if scale == 1 {
		c.set(x, y, blockText(block), st)
		return
	}
	from, to := 0, scale
	switch block {
	case '▀':
		to = scale / 2
	case '▄':
		from = scale / 2
	}
	for dy := from; dy < to; dy++ {
		for dx := range scale {
			c.set(x+dx, y+dy, "█", st)
		}
	}
}

func blockText(block rune) string {
	switch block {
	case '▀':
		return "▀"
	case '▄':
		return "▄"
	}
	return "█"
}

// minus replaces the hyphen of a number by the sign of the trade.
func minus(s string) string { return strings.Replace(s, "-", "−", 1) }
