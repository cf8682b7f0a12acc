package targets

import (
	"strings"
	"testing"
)

// Names as strings are sold under: common practice, no source.
func TestParseMaterial(t *testing.T) {
	for text, want := range map[string]Material{
		"":                            {},
		"steel":                       {Core: Steel},
		"plain steel":                 {Core: Steel},
		"Stainless Steel":             {Core: StainlessSteel},
		"plain stainless steel":       {Core: StainlessSteel},
		"wound steel":                 {Steel, true, ""},
		"wound stainless steel":       {StainlessSteel, true, ""},
		"stainless steel wound steel": {Steel, true, "stainless steel"},
		"nickel-wound steel":          {Steel, true, "nickel"},
		"flatwound steel":             {Steel, true, ""},
		"steel wound nylon":           {Nylon, true, "steel"},
		"phosphor bronze":             {Steel, true, "phosphor bronze"},
		"plain phosphor bronze":       {Core: PhosphorBronze},
		"phosphor bronze wound steel": {Steel, true, "phosphor bronze"},
		"silver-wound gut":            {Gut, true, "silver"},
		"fluorocarbon":                {Core: Fluorocarbon},
	} {
		if got, err := ParseMaterial(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"kryptonite", "nickel wound", "stainles steel", "steel plain", "steel, plain", "wound", "-", " "} {
		_, err := ParseMaterial(text)
		if err == nil || !strings.Contains(err.Error(), "is not known; write plain or stainless steel, ") {
			t.Errorf("%q: %v", text, err)
		}
	}
}
