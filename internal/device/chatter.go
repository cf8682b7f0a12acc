package device

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
)

// A chatter sums up what a child writes on standard error. The libraries below PortAudio write
// dozens of lines about devices that are not present, and, when one fails, up to a million a
// second.
type chatter struct {
	mu    sync.Mutex
	lines int
	line  []byte // the last one, or the beginning of it
	whole bool   // the next byte begins another line
}

// lineLimit is how much of a line is kept, in bytes.
const lineLimit = 200

func (c *chatter) Write(text []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := len(text)
	c.lines += bytes.Count(text, []byte{'\n'})
	// Only the last line is of interest; the end of it may be yet to come.
	body := bytes.TrimRight(text, "\n")
	if i := bytes.LastIndexByte(body, '\n'); i >= 0 || c.whole {
		c.line = c.line[:0]
		body = body[i+1:]
	}
	c.line = append(c.line, body[:min(len(body), lineLimit-len(c.line))]...)
	c.whole = text[n-1] == '\n'
	return n, nil
}

// sum is one line about what was written, empty if nothing was.
func (c *chatter) sum() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	last := strings.ToValidUTF8(string(c.line), "?")
	switch {
	case c.lines == 0 && last == "":
		return ""
	case c.lines <= 1:
		return fmt.Sprintf("the sound system says: %q", last)
	}
	return fmt.Sprintf("the sound system says %d lines, the last: %q", c.lines, last)
}
