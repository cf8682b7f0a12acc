package term

import "tunerd/internal/display"

// An Order is what the user asks of the tuner.
type Order int

const (
	Hold     Order = iota + 1 // compare with this string only
	LetGo                     // compare with the nearest target again
	Clear                     // forget the readings of all strings
	Confirm                   // what sounds is the held string, though it does not seem to be
	Together                  // read all strings at once
	Single                    // read one note at a time
	SetRows                   // compare the bands with something else
)

// An Action is an order given by a key.
type Action struct {
	Order  Order
	String int          // of Hold: the number of the string
	Rows   display.Rows // of SetRows
}

// A keyHint says what a key does, in the row of keys.
type keyHint struct {
	key, does string
	strings   bool // only with an instrument
}

var keyRow = []keyHint{
	{"q", "quit", false},
	{"?", "help", false},
	{"space", "freeze", false},
	{"n p", "hold next, previous", true},
	{"1-9", "hold", true},
	{"a", "let go", true},
	{"c", "clear", true},
	{"m", "all strings", true},
}

var helpText = []struct{ key, does string }{
	{"space", "freeze the picture, go on"},
	{"1-9, 0", "hold this string (0 is 10)"},
	{"n p", "hold the next, the previous"},
	{"a, esc", "let go: nearest string again"},
	{"y", "it is the held one: follow"},
	{"m", "all strings, or one note"},
	{"x", "rows: string or harmonics"},
	{"c", "clear the readings"},
	{"ctrl-l", "draw the screen anew"},
	{"?", "this help, its next page"},
	{"q", "quit"},
	{"", ""},
	{activeMark + " " + heldMark, "sounding string, held string"},
	{"→ ←", "stripes drift: sharp, flat"},
	{"rest", "they stand still: in tune"},
	{nowMark + "+2", "tune that string to this now"},
}

// holdAction returns the action of a key that holds a string: a digit, or a step from the
// string that is held or else sounds.
func holdAction(key string, rows []display.StringRow) (Action, bool) {
	if len(rows) == 0 {
		return Action{}, false
	}
	switch key {
	case "n", "right", "down":
		return Action{Order: Hold, String: neighbour(rows, 1)}, true
	case "p", "left", "up":
		return Action{Order: Hold, String: neighbour(rows, -1)}, true
	case "0":
		return holdNumber(rows, 10)
	}
	if len(key) == 1 && key[0] >= '1' && key[0] <= '9' {
		return holdNumber(rows, int(key[0]-'0'))
	}
	return Action{}, false
}

func holdNumber(rows []display.StringRow, n int) (Action, bool) {
	for i := range rows {
		if rows[i].Number == n {
			return Action{Order: Hold, String: n}, true
		}
	}
	return Action{}, false
}

// neighbour returns the number of the string step rows from the held one, round the end. If none
// is held it returns the sounding one, or else the first or last.
func neighbour(rows []display.StringRow, step int) int {
	sounding := -1
	for i := range rows {
		switch {
		case rows[i].Held:
			return rows[(i+step+len(rows))%len(rows)].Number
		case rows[i].Active:
			sounding = i
		}
	}
	switch {
	case sounding >= 0:
		return rows[sounding].Number
	case step < 0:
		return rows[len(rows)-1].Number
	}
	return rows[0].Number
}
