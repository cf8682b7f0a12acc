package fretboard

import "fmt"

// A Group is findings that follow one another and say the same of several strings, or of several frets
// that are too narrow.
type Group struct {
	Finding        // the last of them: of narrow frets the narrowest
	strings, frets [2]int
}

// Grouped joins findings for people to read: a harp without scale lengths is one line, not 34.
func Grouped(all []Finding) []Group {
	var groups []Group
	for _, f := range all {
		next := Group{f, [2]int{f.String, f.String}, [2]int{f.Fret, f.Fret}}
		if n := len(groups); n == 0 || !groups[n-1].join(&next) {
			groups = append(groups, next)
		}
	}
	return groups
}

// join takes the group of one finding into g, if it may.
func (g *Group) join(next *Group) bool {
	if g.Kind != next.Kind || g.Fault != next.Fault {
		return false
	}
	strings, frets := g.strings, g.frets
	switch {
	case g.Text == next.Text && frets == next.frets && next.String == strings[1]+1:
		strings[1]++
	case g.Kind == narrowFret && strings == next.strings && next.Fret == frets[1]+1:
		frets[1]++
	default:
		return false
	}
	g.Finding, g.strings, g.frets = next.Finding, strings, frets
	return true
}

// StringWords is the string, or from which to which, empty for all.
func (g *Group) StringWords() string { return spanWords(g.strings) }

// FretWords is the fret, or from which to which, empty for a whole string.
func (g *Group) FretWords() string { return spanWords(g.frets) }

func spanWords(span [2]int) string {
	switch {
	case span[0] == 0:
		return ""
	case span[0] == span[1]:
		return fmt.Sprint(span[0])
	}
	return fmt.Sprintf("%d to %d", span[0], span[1])
}
