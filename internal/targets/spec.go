package targets

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// maxSpecText is the longest tuning spec that is read, in bytes.
const maxSpecText = 256 << 10

// ParseTuning reads the spec of a tuning:
//
//	12edo, 41edo              equal divisions of the octave 2/1; 31, 31 edo and 31-edo are 31edo
//	13ed3, 9ed3/2             equal divisions of 3/1, of 3/2
//	4:5:6:7                   the notes of a chord of whole-number ratios
//	1/1 9/8 24of41edo 386.31c     a list of intervals, each as ParseInterval reads it
//	harmonics 8..16           harmonics 8 to 16, counted from the first of them
//	subharmonics 8..16        the lengths 16 to 8 of a string, counted from the longest
//	products 2 of 1 3 5 7     the products of every two of these factors, counted from the lowest
//	werckmeister-3            a published temperament; Temperaments lists them
//	mine.toml                 a file, see ParseTuningFile; also .json and .csv
//
// All but the divisions and temperaments repeat at the octave unless "repeat 3/1" (or any other
// interval) follows. "rotate 3" at the end makes note 3 the new 1/1: the same notes counted from
// there. The notes of a list may come in any order; a note written twice is refused,
// notes that are whole repeats apart (5/4 and 5/2 at the octave) are one, and 1/1 always belongs.
//
// The tuning is anchored at StandardPitch: step 0 is A4, and 1/1 of a list is A4. WithReference
// anchors it elsewhere.
func ParseTuning(spec string) (*Tuning, error) {
	if path := strings.TrimSpace(spec); isTuningFile(path) {
		return readTuningFile(path)
	}
	return ParseTuningText(spec)
}

// ParseTuningText reads the spec of a tuning as ParseTuning does, but opens no file: for specs
// that come from elsewhere than the user of this machine.
func ParseTuningText(spec string) (*Tuning, error) {
	if len(spec) > maxSpecText {
		return nil, fmt.Errorf("tuning %s is longer than %d characters", quote(spec), maxSpecText)
	}
	if isTuningFile(strings.TrimSpace(spec)) {
		return nil, fmt.Errorf("tuning %s: files are not opened here", quote(spec))
	}
	tokens := joinDivision(strings.Fields(strings.ToLower(spec)))
	t, err := parseTokens(tokens)
	if err != nil {
		return nil, fmt.Errorf("tuning %s: %w", quote(strings.Join(tokens, " ")), err)
	}
	t.spec = strings.Join(tokens, " ")
	return t, nil
}

// joinDivision makes one word of a division that is written in other ways: 31, 31 edo, 31-edo.
func joinDivision(tokens []string) []string {
	if len(tokens) == 0 {
		return tokens
	}
	count, kind, _ := strings.Cut(tokens[0], "-")
	rest := tokens[1:]
	if kind == "" && len(rest) > 0 && strings.HasPrefix(rest[0], "ed") {
		kind, rest = rest[0], rest[1:]
	}
	if count == "" || strings.Trim(count, "0123456789") != "" {
		return tokens
	}
	if kind == "" && (len(rest) == 0 || rest[0] == "rotate") && len(count) <= maxBareDigits && tokens[0] == count {
		kind = "edo"
	}
	if !strings.HasPrefix(kind, "ed") {
		return tokens
	}
	return append([]string{count + kind}, rest...)
}

func parseTokens(tokens []string) (*Tuning, error) {
	if len(tokens) == 0 {
		return nil, errors.New("nothing given; write one like 12edo, 13ed3, 4:5:6:7 or harmonics 8..16")
	}
	tokens, by, err := cutRotate(tokens)
	if err != nil {
		return nil, err
	}
	t, err := parseUnrotated(tokens)
	if err != nil || by == 0 {
		return t, err
	}
	return t.rotated(by)
}

// cutRotate takes "rotate 3" off the end; without it the rotation is 0.
func cutRotate(tokens []string) ([]string, int, error) {
	i := slices.Index(tokens, "rotate")
	if i < 0 {
		return tokens, 0, nil
	}
	if i == 0 || i != len(tokens)-2 {
		return nil, 0, errors.New(`"rotate" belongs at the end, before the number of the note that is to be 1/1, like rotate 3`)
	}
	by, err := parseCount(tokens[i+1], maxSteps)
	if err != nil {
		return nil, 0, fmt.Errorf("rotate %s: that is no number of a note from 1 to %d", quote(tokens[i+1]), maxSteps)
	}
	return tokens[:i], by, nil
}

// parseUnrotated reads at least one token.
func parseUnrotated(tokens []string) (*Tuning, error) {
	if len(tokens) == 1 {
		if m, ok := findTemperament(tokens[0]); ok {
			return m.tuning()
		}
		if n, base, ok := cutDivision(tokens[0]); ok {
			return parseDivision(n, base)
		}
	}
	list, period, err := cutRepeat(tokens)
	if err != nil {
		return nil, err
	}
	notes, err := parseNotes(list)
	if err != nil {
		return nil, err
	}
	t, err := newListed(notes, period)
	if err != nil {
		return nil, err
	}
	isList := len(list) > 1 && !isSeries(list[0])
	if isList {
		if err := refuseLostSigns(list, period); err != nil {
			return nil, err
		}
	}
	if isList && len(list) == len(tokens) {
		t.beyond = beyondOctave(notes)
	}
	return t, nil
}

// beyondOctave returns the notes that lie outside of the octave.
func beyondOctave(notes []Interval) (beyond []Interval) {
	for _, iv := range notes {
		if c := iv.Cents(); c < -minGap || c > 1200+minGap {
			beyond = append(beyond, iv)
		}
	}
	return beyond
}

// refuseLostSigns refuses a whole number of several digits in a list that lies beyond where the list
// repeats: an unquoted 7\12 of older lists comes out of a shell as 712, and 7\5 as 75. One of
// maxBareDigits, more than six octaves up, is refused anywhere; one of two digits where the list is not one
// of whole numbers, such as 1 3 5 7 9 11. Such a ratio can be written 75/1.
func refuseLostSigns(list []string, period Interval) error {
	least := 2
	if !slices.ContainsFunc(list, func(token string) bool { return !isWholeRatio(token) }) {
		least = maxBareDigits
	}
	for _, token := range list {
		if len(token) < least || strings.Trim(token, "0123456789") != "" {
			continue
		}
		if iv, err := parseRatio(token); err == nil && iv.Cents() > period.Cents()+minGap {
			return fmt.Errorf("%s is a whole number of %d digits beyond %s, where the list repeats; has a shell taken a sign out of it? "+
				"Put the list in quotes, write steps like 7of12edo, and the ratio as %s/1", quote(token), len(token), period, token)
		}
	}
	return nil
}

// isWholeRatio tells whether a note of a list is a whole number, as 3 or 3/1.
func isWholeRatio(token string) bool {
	return strings.Trim(strings.TrimSuffix(token, "/1"), "0123456789") == ""
}

// isSeries says whether a list is made by a rule instead of note by note.
func isSeries(word string) bool {
	return word == "harmonics" || word == "subharmonics" || word == "products"
}

// cutDivision splits "13ed3" into "13" and "3", and "12edo" into "12" and "2".
func cutDivision(token string) (n, base string, ok bool) {
	n, base, ok = strings.Cut(token, "ed")
	if !ok || n == "" || strings.Trim(n, "0123456789") != "" {
		return "", "", false
	}
	if base == "o" {
		base = "2"
	}
	return n, base, true
}

func parseDivision(count, base string) (*Tuning, error) {
	n, err := parseCount(count, maxSteps)
	if err != nil {
		return nil, fmt.Errorf("%s equal steps are not within 1 to %d", quote(count), maxSteps)
	}
	period, err := parseRatio(base)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be divided; write 12edo for the octave, 13ed3 for 3/1 or 9ed3/2", quote(base))
	}
	return newDivision(n, period)
}

// cutRepeat takes "repeat 3/1" off the end; without it the period is the octave.
func cutRepeat(tokens []string) ([]string, Interval, error) {
	for i, token := range tokens {
		if token != "repeat" {
			continue
		}
		if i == 0 || i != len(tokens)-2 {
			return nil, Interval{}, errors.New(`"repeat" belongs at the end, before one interval, like repeat 3/1`)
		}
		period, err := ParseInterval(tokens[i+1])
		if err != nil {
			return nil, Interval{}, err
		}
		if !(period.Cents() > 0) {
			return nil, Interval{}, fmt.Errorf("repeat %s does not lead upwards; write an interval above 1/1, like 3/1", quote(tokens[i+1]))
		}
		return tokens[:i], period, nil
	}
	return tokens, octave, nil
}

func parseNotes(tokens []string) ([]Interval, error) {
	switch first := tokens[0]; {
	case first == "products":
		return parseProducts(tokens)
	case isSeries(first):
		return parseSeries(tokens)
	case strings.Contains(first, ":") && len(tokens) == 1:
		return parseChord(first)
	}
	return parseList(tokens)
}

// parseSeries reads "harmonics A..B" and "subharmonics A..B".
func parseSeries(tokens []string) ([]Interval, error) {
	kind := tokens[0]
	if len(tokens) != 2 {
		return nil, fmt.Errorf("%s needs one range, like %s 8..16", kind, kind)
	}
	from, to, ok := strings.Cut(tokens[1], "..")
	a, errA := parseCount(from, maxSteps)
	b, errB := parseCount(to, maxSteps)
	if !ok || errA != nil || errB != nil || a >= b {
		return nil, fmt.Errorf("%s %s is no range; write two rising numbers from 1 to %d, like %s 8..16", kind, quote(tokens[1]), maxSteps, kind)
	}
	notes := make([]Interval, 0, b-a+1)
	for n := a; n <= b; n++ {
		num, den := n, a
		if kind == "subharmonics" {
			num, den = b, n
		}
		iv, err := Ratio(uint64(num), uint64(den))
		if err != nil {
			return nil, err
		}
		notes = append(notes, iv)
	}
	return notes, nil
}

// parseChord reads 4:5:6:7 as ratios above the first number.
func parseChord(token string) ([]Interval, error) {
	c, err := ParseChord(token)
	if err != nil {
		return nil, err
	}
	return c.notes, nil
}

func parseList(tokens []string) ([]Interval, error) {
	if err := checkCount(len(tokens)); err != nil {
		return nil, err
	}
	notes := make([]Interval, len(tokens))
	for i, token := range tokens {
		iv, err := ParseInterval(token)
		if err != nil && len(tokens) == 1 && !strings.Contains(token, `\`) && strings.Trim(token, "0123456789") != "" {
			return nil, unknownSpec()
		}
		if err != nil {
			return nil, err
		}
		notes[i] = iv
	}
	return notes, refuseRepeated(notes, tokens)
}

func unknownSpec() error {
	return errors.New(`unknown; write a division like 12edo or 13ed3, ratios like 4:5:6:7 or "1/1 5/4 3/2", ` +
		"harmonics 8..16, products 2 of 1 3 5 7, a .toml file, or one of " + strings.Join(Temperaments(), ", "))
}

func checkCount(n int) error {
	if n > maxSteps {
		return fmt.Errorf("%d notes are more than %d", n, maxSteps)
	}
	return nil
}

// refuseRepeated finds an interval that is written twice, also in different words.
func refuseRepeated(notes []Interval, tokens []string) error {
	first := make(map[string]int, len(notes))
	for i, iv := range notes {
		key := iv.String()
		if j, ok := first[key]; ok {
			return fmt.Errorf("%s is note %s again (number %d and %d of the list)", quote(tokens[i]), quote(tokens[j]), j+1, i+1)
		}
		first[key] = i
	}
	return nil
}
