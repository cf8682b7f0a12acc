package targets

import "math"

// A Standing says how what sounds stands to the string that is held.
type Standing string

const (
	NotHeld   Standing = ""          // no string is held
	Taken     Standing = "taken"     // it lies near the held string and is taken for it
	Doubted   Standing = "doubted"   // it does not seem to be the held string
	Confirmed Standing = "confirmed" // nor did it, but somebody said that it is
	Moving    Standing = "moving"    // nor did it, but it has moved towards the target
)

// What tells a held string from another that sounds. The figures are our choice.
const (
	nearCents   = 50  // nearer to the target than this it is the held string, whatever lies beside it
	farCents    = 250 // further off than this it is doubted, though no other string is nearer
	jumpCents   = 60  // no string moves so far from one reading to the next
	againCents  = 30  // a string plucked again lies so near to where it was
	woundCents  = 100 // and may have been turned by so much between two plucks
	movedCents  = 25  // a pitch that came so much nearer to the target is being turned towards it
	clearSigmas = 6   // and is, if it came nearer by so many σ
	roughCents  = 10  // σ above which a reading is not taken for the place that a pitch moved from
)

// A holder judges reading after reading whether it is the held string that sounds. A sound that is
// nearer to another open string, or far from the target, is doubted; it is followed all the same once
// Confirm was called or it has moved towards the target, and then goes on to be, also over new plucks,
// as long as it lies where that string can be.
type holder struct {
	standing Standing
	before   Standing // of the reading followed last; NotHeld: none was
	followed float64  // its cents against the target
	last     float64  // cents of the newest reading of the note, NaN before the first
	furthest float64  // of the note, cents from the target; NaN before the first clear reading
}

func newHolder() holder {
	return holder{last: math.NaN(), furthest: math.NaN()}
}

// note begins a new note.
func (h *holder) note() { h.last, h.furthest = math.NaN(), math.NaN() }

// confirm takes what sounds for the held string from now on.
func (h *holder) confirm() {
	if h.standing == Doubted {
		h.follow(Confirmed, h.last)
	}
}

func (h *holder) follow(s Standing, cents float64) {
	h.standing, h.before, h.followed = s, s, cents
}

// judge takes a reading that lies cents from the target and other cents from the nearest open
// string of another pitch (NaN: there is none), with standard uncertainty sigma.
func (h *holder) judge(cents, other, sigma float64) Standing {
	goesOn := math.Abs(cents-h.last) <= jumpCents
	if !goesOn {
		h.furthest = math.NaN()
	}
	if sigma <= roughCents && !(math.Abs(cents) <= math.Abs(h.furthest)) {
		h.furthest = cents
	}
	switch {
	case !doubtful(cents, other, sigma):
		h.follow(Taken, cents)
	case goesOn && h.standing != Doubted && h.standing != NotHeld:
		h.follow(h.standing, cents)
	case h.comesFromBefore(cents, other):
		h.follow(h.before, cents)
	case goesOn && h.moves(cents, other, sigma):
		h.follow(Moving, cents)
	default:
		h.standing = Doubted
	}
	h.last = cents
	return h.standing
}

// doubtful reports whether a sound seems not to be the held string.
func doubtful(cents, other, sigma float64) bool {
	off := math.Abs(cents)
	margin := 8 * sigma // as in pitchTable.leaves: 4σ beyond the middle
	return off > nearCents && (off > farCents || off-math.Abs(other) > margin)
}

// comesFromBefore reports whether a new note lies where the string followed last can be by now.
func (h *holder) comesFromBefore(cents, other float64) bool {
	if h.before == NotHeld {
		return false
	}
	step := math.Abs(cents - h.followed)
	nearer := cents*h.followed > 0 && math.Abs(cents) < math.Abs(h.followed)
	return step <= againCents || (step <= woundCents || nearer) && !(math.Abs(other) <= nearCents)
}

// moves reports whether the pitch has moved towards the target since the note began, and is not
// just being tuned to another open string: it has left that one behind, or lies far from any.
func (h *holder) moves(cents, other, sigma float64) bool {
	if moved := math.Abs(h.furthest) - math.Abs(cents); !(moved >= max(movedCents, clearSigmas*sigma)) {
		return false
	}
	beyond := -math.Copysign(1, cents) * other // positive: between the other string and the target
	return beyond > movedCents || !(math.Abs(other) <= farCents)
}
