package term

import (
	"tunerd/internal/display"
)

// nowSigma is to what part of a cent advice is written.
const nowSigma = 0.1

// compareWithNow makes deviation, beat and verdict of a frame those from what the string is to be tuned to now,
// where it is one of several that pull on each other: that is what its peg is turned by.
func compareWithNow(f *display.Frame) {
	if f.Now.Hz > 0 {
		f.Cents, f.BeatHz, f.Verdict = f.NowOff, f.NowBeatHz, f.NowVerdict
	}
}

// nowText writes what a string is to be tuned to now, in cents from its target; "" where there is no advice.
func nowText(row *display.StringRow, width int) string {
	if row.Now.Hz == 0 {
		return ""
	}
	return shortCents(row.Now.Cents, nowSigma, 0, 1, func(s string) bool { return cellWidth(nowMark+s) <= width })
}

// nowMark stands before what a string is to be tuned to now.
const nowMark = "→"

// rowNow is that with its mark.
func rowNow(row *display.StringRow, width int) string {
	if s := nowText(row, width); s != "" {
		return nowMark + s
	}
	return ""
}

// nowStyle lights up what is to be turned, above all the next string.
func nowStyle(row *display.StringRow, s *scene, figure style) style {
	switch {
	case row.Turn == 0:
		figure.fg = dim
	case row.Number == s.frame.Pass.Next:
		figure.fg, figure.bold = notice, true
	default:
		figure.fg = text
	}
	return figure
}
