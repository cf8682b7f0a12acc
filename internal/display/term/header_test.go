package term

import (
	"strings"
	"testing"

	"tunerd/internal/display"
)

// No name of the header is cut where something else would be read: A4=44 is no reference.
func TestHeaderCutsNoName(t *testing.T) {
	f := display.Frame{Tuning: "12edo", Instrument: "My tenor ukulele", Reference: "A4=440 Hz", Input: "/home/builder/takes/tenor/ukulele-G3.flac"}
	for w := minWidth; w <= 120; w++ {
		var c canvas
		c.reset(w, 1, mono)
		c.drawHeader(rect{0, 0, w, 1}, &f)
		line := ""
		for _, cell := range c.cells {
			line += cell.text
		}
		for _, part := range []string{"My tenor ukulele", "A4=440 Hz"} {
			if head := part[:4]; strings.Contains(line, head) && !strings.Contains(line, part) {
				t.Errorf("width %d: %q cuts %q", w, line, part)
			}
		}
		if !strings.HasSuffix(strings.TrimRight(line, " "), "ukulele-G3.flac") {
			t.Errorf("width %d: %q does not end in the name of the file", w, line)
		}
	}
}
