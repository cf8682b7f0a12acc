package term

import (
	"math"
	"strconv"

	"github.com/charmbracelet/colorprofile"
)

// A depth is how many colours the terminal has.
type depth uint8

const (
	mono   depth = iota // none: shades and bold only
	basic               // 16
	cube                // 256
	direct              // 24 bits
)

// depthOf maps what the library found out about the terminal.
func depthOf(p colorprofile.Profile) depth {
	switch p {
	case colorprofile.TrueColor:
		return direct
	case colorprofile.ANSI256:
		return cube
	case colorprofile.ANSI:
		return basic
	}
	return mono
}

// An ink is an index into the palette.
type ink uint8

const (
	ground ink = iota // behind everything
	panel             // behind the active string and the help
	text
	dim
	faint
	notice // messages
	flatInk
	sharpInk
	tuneInk
	openInk
	ramps // the first of rampCount ramps of rampSteps inks each, from dark to light
)

const (
	rampSteps = 16
	inkCount  = int(ramps) + 4*rampSteps
)

// A tint is the colour family of the stripes.
type tint uint8

const (
	flatTint tint = iota
	sharpTint
	tuneTint
	openTint // nothing is said yet
)

func (t tint) ink() ink { return flatInk + ink(t) }

// ramp returns the ink of a stripe of the given lightness, 0 to 1.
func (t tint) ramp(light float64) ink {
	step := int(math.Round(light * (rampSteps - 1)))
	return ramps + ink(int(t)*rampSteps+min(max(step, 0), rampSteps-1))
}

// lightness returns 0 to 1 for an ink of a ramp, and 1 for every other one that is drawn.
func (i ink) lightness() float64 {
	switch {
	case i >= ramps:
		return float64(int(i-ramps)%rampSteps) / (rampSteps - 1)
	case i == ground || i == panel:
		return 0
	}
	return 1
}

type rgb struct{ r, g, b uint8 }

// The palette is blue, amber and ivory on slate. Blue against amber stays distinct in all
// common kinds of colour blindness, and ivory differs from both in saturation; the state is
// written in words besides. Grey is what
// is not known yet.
var (
	named = [...]rgb{
		ground:   {0x0f, 0x12, 0x17},
		panel:    {0x22, 0x29, 0x33},
		text:     {0xdd, 0xe1, 0xe6},
		dim:      {0x8d, 0x96, 0xa3},
		faint:    {0x4c, 0x55, 0x62},
		notice:   {0xff, 0xd8, 0x7a},
		flatInk:  {0x6f, 0xb4, 0xf5},
		sharpInk: {0xf3, 0xa9, 0x58},
		tuneInk:  {0xf6, 0xf0, 0xdc},
		openInk:  {0xb4, 0xba, 0xc2},
	}
	stripeDark  = rgb{0x1a, 0x1f, 0x27}
	stripeLight = [...]rgb{flatTint: {0x7f, 0xbe, 0xf9}, sharpTint: {0xf7, 0xb2, 0x66}, tuneTint: {0xf8, 0xf3, 0xe2}, openTint: {0x9a, 0xa1, 0xab}}

	// Sixteen colours: 0 black, 3 brown, 7 grey, 8 dark grey, 11 yellow, 12 blue, 15 white.
	sixteen = [...]uint8{ground: 0, panel: 0, text: 7, dim: 7, faint: 8, notice: 15,
		flatInk: 12, sharpInk: 11, tuneInk: 15, openInk: 7}
)

// cubeRamps are the ramps in the fixed 256 colours. The nearest of these to a mixed colour often
// has another hue, so each was chosen to keep the hue.
var cubeRamps = [...][rampSteps]uint8{
	flatTint:  {234, 235, 236, 237, 24, 24, 24, 67, 67, 67, 67, 110, 110, 110, 111, 111},
	sharpTint: {234, 235, 236, 237, 94, 94, 94, 137, 137, 137, 137, 179, 179, 179, 215, 215},
	tuneTint:  {234, 235, 236, 238, 240, 242, 244, 246, 247, 248, 249, 251, 252, 253, 255, 230},
	openTint:  {234, 235, 235, 236, 237, 237, 238, 239, 240, 241, 241, 242, 243, 244, 245, 246},
}

func colour(i ink) rgb {
	if i < ramps {
		return named[i]
	}
	return mix(stripeDark, stripeLight[int(i-ramps)/rampSteps], i.lightness())
}

// mix returns a + (b-a)·t.
func mix(a, b rgb, t float64) rgb {
	m := func(x, y uint8) uint8 { return uint8(math.Round(float64(x) + (float64(y)-float64(x))*t)) }
	return rgb{m(a.r, b.r), m(a.g, b.g), m(a.b, b.b)}
}

// basicColour returns the colour 0 to 15 of an ink.
func basicColour(i ink) uint8 {
	if i < ramps {
		return sixteen[i]
	}
	switch l := i.lightness(); {
	case l < 0.25:
		return 0
	case l < 0.55:
		return 8
	}
	return sixteen[flatInk+ink(int(i-ramps)/rampSteps)]
}

// cubeInk returns the colour 16 to 255 of an ink.
func cubeInk(i ink) uint8 {
	if i >= ramps {
		return cubeRamps[int(i-ramps)/rampSteps][int(i-ramps)%rampSteps]
	}
	return cubeColour(named[i])
}

// cubeColour returns the nearest of the fixed colours 16 to 255: a cube of 6×6×6 with the
// levels 0, 95, 135, 175, 215, 255 and 24 greys 8, 18 … 238 (xterm control sequences, "256 colors").
func cubeColour(c rgb) uint8 {
	level := func(v uint8) (int, int) {
		if v < 48 {
			return 0, 0
		}
		n := min(max((int(v)-35)/40, 1), 5)
		return n, 55 + 40*n
	}
	r, rv := level(c.r)
	g, gv := level(c.g)
	b, bv := level(c.b)
	grey := min(max((int(c.r)+int(c.g)+int(c.b)-3*8+15)/30, 0), 23)
	greyLevel := 8 + 10*grey
	if distance(c, greyLevel, greyLevel, greyLevel) < distance(c, rv, gv, bv) {
		return uint8(232 + grey)
	}
	return uint8(16 + 36*r + 6*g + b)
}

func distance(c rgb, r, g, b int) int {
	dr, dg, db := int(c.r)-r, int(c.g)-g, int(c.b)-b
	return dr*dr + dg*dg + db*db
}

// A palette holds the SGR parameters of every ink, as foreground and as background.
type palette struct {
	fg, bg [inkCount]string
}

var palettes = func() (p [direct + 1]palette) {
	for d := range p {
		for i := range inkCount {
			p[d].fg[i], p[d].bg[i] = sgr(depth(d), ink(i))
		}
	}
	return p
}()

// sgr returns the SGR parameters that select an ink; both are empty without colours.
func sgr(d depth, i ink) (fg, bg string) {
	switch d {
	case direct:
		c := colour(i)
		v := ";2;" + strconv.Itoa(int(c.r)) + ";" + strconv.Itoa(int(c.g)) + ";" + strconv.Itoa(int(c.b))
		return "38" + v, "48" + v
	case cube:
		v := ";5;" + strconv.Itoa(int(cubeInk(i)))
		return "38" + v, "48" + v
	case basic:
		c := int(basicColour(i))
		if c < 8 {
			return strconv.Itoa(30 + c), strconv.Itoa(40 + c)
		}
		return strconv.Itoa(90 + c - 8), strconv.Itoa(100 + c - 8)
	}
	return "", ""
}
