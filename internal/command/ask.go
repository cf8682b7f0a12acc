package command

import (
	"bufio"
	"context"
	"fmt"
	"io"

	"tunerd/internal/display/text"
)

// An asker asks a person one thing after the other, on lines.
type asker struct {
	ctx   context.Context
	lines chan string // closed at the end of the input
	chat  io.Writer
}

// newAsker reads answers from in until ctx ends. A read that waits then is left waiting, as nobody can
// interrupt it; the program is about to end.
func newAsker(ctx context.Context, in io.Reader, chat io.Writer) *asker {
	a := &asker{ctx: ctx, lines: make(chan string), chat: chat}
	go func() {
		defer close(a.lines)
		for s := bufio.NewScanner(in); s.Scan(); {
			select {
			case a.lines <- s.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return a
}

// A question is one that is asked until take accepts the answer.
type question struct {
	given string // by a flag: not asked
	flag  string // that answers it
	words string
	help  string // what an answer looks like
	usual string // what an empty answer means; empty: none
	take  func(answer string) error
}

// ask puts the question, or takes the answer of its flag.
func (a *asker) ask(q question) error {
	if q.given != "" {
		if err := q.take(q.given); err != nil {
			return usagef("--%s: %w", q.flag, err)
		}
		return nil
	}
	if q.help != "" {
		fmt.Fprintf(a.chat, "%s:\n", q.words)
		for _, line := range text.Wrap(q.help, text.ParagraphWidth(a.chat)-2) {
			fmt.Fprintf(a.chat, "  %s\n", line)
		}
		q.words = ">"
	}
	for {
		fmt.Fprint(a.chat, q.words)
		if q.usual != "" {
			fmt.Fprintf(a.chat, " [%s]", q.usual)
		}
		fmt.Fprint(a.chat, " ")
		var answer string
		var ok bool
		select {
		case answer, ok = <-a.lines:
		case <-a.ctx.Done():
		}
		if !ok {
			fmt.Fprintln(a.chat)
			if err := a.ctx.Err(); err != nil {
				return err
			}
			return hintf(usagef("the answers end here; nothing is written"), "--%s answers this question", q.flag)
		}
		if answer == "" {
			answer = q.usual
		}
		err := q.take(answer)
		if err == nil {
			return nil
		}
		for _, line := range text.Wrap(text.Clean(oneLine(err)), text.ParagraphWidth(a.chat)-2) {
			fmt.Fprintf(a.chat, "  %s\n", line)
		}
	}
}
