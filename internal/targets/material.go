package targets

import (
	"fmt"
	"strings"
)

// A Core is the material that bears the tension of a string: of a plain one all of it, of a wound one
// its core.
type Core string

// The cores that a file may name.
const (
	Steel          Core = "steel" // music wire
	StainlessSteel Core = "stainless steel"
	PhosphorBronze Core = "phosphor bronze"
	Brass          Core = "brass"
	Silver         Core = "silver"
	Nylon          Core = "nylon"
	Fluorocarbon   Core = "fluorocarbon"
	Gut            Core = "gut"
	Synthetic      Core = "synthetic"
)

var cores = []Core{Steel, StainlessSteel, PhosphorBronze, Brass, Silver, Nylon, Fluorocarbon, Gut, Synthetic}

// A Material is what a string is made of.
type Material struct {
	Core    Core   // "": not given
	Wound   bool   // something is wound around Core
	Winding string // what is, in lower case, such as "nickel plated steel"; "": not given
}

// materialHelp says what ParseMaterial accepts.
const materialHelp = "write plain or stainless steel, nylon, fluorocarbon, gut, synthetic, brass, silver or plain phosphor bronze; " +
	"of a wound string the winding and the core, such as nickel wound steel, silver wound nylon, or phosphor bronze (wound on steel)"

// ParseMaterial reads the description of a string's material; an empty one says nothing. "plain CORE"
// or "CORE" is a string without a winding, "WINDING wound CORE" one with it, whatever the winding is: it
// bears no tension. "phosphor bronze" alone is what the trade sells under that name, wound on steel.
func ParseMaterial(text string) (Material, error) {
	if text == "" {
		return Material{}, nil
	}
	words := strings.Fields(strings.ReplaceAll(strings.ToLower(text), "-", " "))
	m := Material{}
	for i, w := range words {
		if strings.HasSuffix(w, "wound") {
			m.Wound, m.Winding, words = true, strings.Join(words[:i], " "), words[i+1:]
			break
		}
	}
	core := strings.Join(words, " ")
	switch {
	case !m.Wound && core == string(PhosphorBronze):
		return Material{Core: Steel, Wound: true, Winding: string(PhosphorBronze)}, nil
	case !m.Wound:
		core = strings.TrimPrefix(core, "plain ")
	}
	for _, c := range cores {
		if core == string(c) {
			m.Core = c
			return m, nil
		}
	}
	return Material{}, fmt.Errorf("material %s is not known; %s", quote(text), materialHelp)
}
