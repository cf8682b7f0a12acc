package text

import (
	"strings"
	"unicode/utf8"
)

// Wrap breaks a paragraph into lines of at most width characters, between words; a longer word has a
// line of its own.
func Wrap(paragraph string, width int) []string {
	var lines []string
	line, length := "", 0
	for _, word := range strings.Fields(paragraph) {
		n := utf8.RuneCountInString(word)
		switch {
		case length == 0:
			line, length = word, n
		case length+1+n > width:
			lines = append(lines, line)
			line, length = word, n
		default:
			line, length = line+" "+word, length+1+n
		}
	}
	if length > 0 {
		lines = append(lines, line)
	}
	return lines
}
