package display

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Hidden reports whether r is a character that does not show itself but steers the terminal, or turns
// or joins what stands around it: controls, marks of the direction of writing, separators of lines,
// and what else Unicode counts as format (general categories Cc, Cf, Zl, Zp). The two joiners, which
// some scripts are not written without, are not among them, nor are the signs of numbers in Arabic.
func Hidden(r rune) bool {
	const nonJoiner, joiner = '\u200c', '\u200d'
	switch {
	case r < utf8.RuneSelf:
		return r < ' ' || r == 0x7f
	case r == nonJoiner, r == joiner, unicode.Is(unicode.Prepended_Concatenation_Mark, r):
		return false
	}
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp)
}

// EscapeHidden writes the hidden characters of JSON text as \u escapes, which mean the same; line feeds
// between values stay.
func EscapeHidden(json []byte) []byte {
	if !bytes.ContainsFunc(json, func(r rune) bool { return r != '\n' && Hidden(r) }) {
		return json
	}
	var b strings.Builder
	for _, r := range string(json) {
		switch {
		case r == '\n' || !Hidden(r):
			b.WriteRune(r)
		case r > 0xffff: // as a pair of surrogates: RFC 8259, section 7
			fmt.Fprintf(&b, `\u%04x\u%04x`, 0xd800+(r-0x10000)>>10, 0xdc00+(r-0x10000)&0x3ff)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return []byte(b.String())
}
