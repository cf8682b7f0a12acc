package setup

import (
	"math"
	"slices"
)

// A Result is what a check has found.
type Result struct {
	Strings []StringResult `json:"strings"`
	Frets   []FretResult   `json:"frets"`        // every slot that was heard, from the nut
	Odd     []NoteResult   `json:"odd_notes"`    // readings that were left out of the fit
	Line    *SaddleLine    `json:"saddle_line"`  // nil with fewer than two strings
	Nut     *NutMove       `json:"nut_of_all"`   // likewise
	Height  Height         `json:"nut_height"`   // that all slots of the nut have in common
	Misfit  float64        `json:"misfit"`       // standard errors were widened by this factor, 1 or more
	Free    int            `json:"degrees_free"` // readings beyond those that the fit needs
	Repeat  float64        `json:"repeat_cents"` // standard deviation between plucks of one note
}

// A StringResult is one string.
type StringResult struct {
	Number     int     `json:"string"`
	Label      string  `json:"label"`
	Determined bool    `json:"determined"` // nut and saddle could be told
	PitchCents float64 `json:"open_cents"` // of the open string against its target
	PitchSigma float64 `json:"open_sigma_cents"`
	B          float64 `json:"inharmonicity"`
	BSigma     float64 `json:"inharmonicity_sigma"`

	Place      Ends `json:"place"` // where nut and saddle stand, as the string feels them
	PlaceSigma Ends `json:"place_sigma"`
	// NutHeight is that of the bottom of the string's slot above the plane of the frets.
	NutHeight Height `json:"nut_height"`

	Move      Move    `json:"move"` // what puts the notes right, with stiffness and press
	MoveSigma Move    `json:"move_sigma"`
	MoveDoubt float64 `json:"move_doubt_mm"` // by how much the saddle move differs if the sharpness is not one of places

	Now      Spread          `json:"now"`
	After    Spread          `json:"after"` // what is left by the moves
	Verdict  Verdict         `json:"verdict"`
	Notes    []NoteResult    `json:"notes"`
	Harmonic HarmonicsResult `json:"harmonics"`
	Curve    []CurvePoint    `json:"curve"` // of every fret
}

// A Height is how far the bottom of a slot of the nut stands above the plane of the frets.
type Height struct {
	MM    float64 `json:"mm"` // 0: not above it, as far as can be told
	Sigma float64 `json:"sigma_mm"`
	High  bool    `json:"high"` // above what is usual, by more than chance
}

// A Spread sums up how far the fretted notes that were read lie off.
type Spread struct {
	WorstCents float64 `json:"worst_cents"`
	WorstFret  int     `json:"worst_fret"`
	RMSCents   float64 `json:"rms_cents"`
}

// A NoteResult is one reading against the fit.
type NoteResult struct {
	Note
	Label    string  `json:"label"`
	Plucks   int     `json:"plucks"`
	Cents    float64 `json:"cents"` // off its place above the open string
	Sigma    float64 `json:"sigma_cents"`
	FitCents float64 `json:"fit_cents"`      // what nut, saddle, stiffness and press make of it, every fret in place
	Residual float64 `json:"residual_cents"` // the rest
	// ResidualMM is the rest as a place of the fret, towards the saddle; 0 for other notes.
	ResidualMM float64 `json:"residual_mm"`
	SigmaMM    float64 `json:"sigma_mm"`
	AfterCents float64 `json:"after_cents"` // what is left of Cents by the moves
	LeftOut    bool    `json:"left_out"`
}

// A CurvePoint is the fitted deviation at one fret.
type CurvePoint struct {
	Fret  int     `json:"fret"`
	NutMM float64 `json:"nut_mm"`
	Now   float64 `json:"now_cents"`
	Sigma float64 `json:"sigma_cents"`
	After float64 `json:"after_cents"`
}

// A FretResult is where one fret stands by all the strings on which it was heard.
type FretResult struct {
	Fret    int     `json:"fret"`
	Strings []int   `json:"strings"`  // heard on
	MM      float64 `json:"mm"`       // off its place, towards the saddle
	Sigma   float64 `json:"sigma_mm"` // standard error
	Cents   float64 `json:"cents"`    // what that makes of the note
	Off     bool    `json:"off"`      // beyond chance and usual care
}

// A HarmonicsResult says whether the string's stiffness explains its natural harmonics.
type HarmonicsResult struct {
	Read      int     `json:"read"`
	Explained bool    `json:"explained"` // all within 3 standard errors
	Harmonic  int     `json:"worst"`     // the one that fits worst
	Cents     float64 `json:"worst_cents"`
	Sigma     float64 `json:"worst_sigma_cents"`
}

// A NutMove is the best move of a nut that is one piece for all strings.
type NutMove struct {
	MM    float64 `json:"mm"`
	Sigma float64 `json:"sigma_mm"`
	Alike bool    `json:"alike"` // the moves of single strings differ from it by no more than chance
}

// A SaddleLine is the best straight saddle for all strings: its move under string i is
// AtMiddleMM + PerMM·y for a string y mm across from the middle.
type SaddleLine struct {
	AtMiddleMM float64        `json:"at_middle_mm"`
	PerMM      float64        `json:"mm_per_mm"`
	Strings    []LineAtSaddle `json:"strings"`
}

// A LineAtSaddle is a SaddleLine under one string.
type LineAtSaddle struct {
	Number int     `json:"string"`
	MoveMM float64 `json:"move_mm"`
	OffMM  float64 `json:"off_mm"` // the line's move minus the string's own
	Cents  float64 `json:"cents"`  // the most that leaves at a fret that was read
}

// result reads a fit.
func (f *fitting) result() *Result {
	out := &Result{Strings: []StringResult{}, Frets: []FretResult{}, Odd: []NoteResult{}}
	out.Misfit, out.Free = f.misfitRatio()
	for i := range f.board.Strings {
		if s := f.stringResult(i, out.Misfit); len(s.Notes) > 0 {
			out.Strings = append(out.Strings, s)
		}
	}
	out.Frets = f.fretResults(out.Misfit)
	for _, s := range out.Strings {
		for _, n := range s.Notes {
			if n.LeftOut {
				out.Odd = append(out.Odd, n)
			}
		}
	}
	out.Line = f.saddleLine(out.Strings)
	out.Nut = f.nutMove(out.Strings, out.Misfit)
	var all row
	all.add(f.height(), 1)
	out.Height = f.heightOf(&all, out.Misfit)
	return out
}

// findHeight sets the height of the nut's slot of string i.
func (f *fitting) findHeight(i int, out *StringResult, misfit float64) {
	var own row
	own.add(f.height(), 1)
	own.add(f.cut(i), 1)
	out.NutHeight = f.heightOf(&own, misfit)
}

// heightOf takes the root of a square of a height, whose standard error is that of the root where
// it is far from 0, and what 0 might still be where it is not.
func (f *fitting) heightOf(square *row, misfit float64) Height {
	mm2 := 0.0
	for k := range square.n {
		mm2 += f.x[square.at[k]]
	}
	sigma2 := misfit * math.Sqrt(max(square.quadratic(f.cov), 0))
	h := Height{MM: math.Sqrt(max(mm2, 0))}
	h.Sigma = math.Sqrt(h.MM*h.MM+sigma2) - h.MM
	usual := f.model.NutHeightMM
	h.High = mm2-sureHigh*sigma2 > usual*usual
	return h
}

// sureHigh is how many standard errors a nut must stand above what is usual to be called high.
const sureHigh = 2.0

// undetermined is the standard error in mm beyond which a place is not told.
const undetermined = 3.0

func (f *fitting) stringResult(i int, misfit float64) StringResult {
	s := &f.board.Strings[i]
	sigma := func(at int) float64 { return misfit * math.Sqrt(f.cov.At(at, at)) }
	out := StringResult{
		Number: s.Number, Label: s.Label,
		PitchCents: f.x[f.pitch(i)], PitchSigma: sigma(f.pitch(i)),
		B: f.x[f.stiff(i)] * stiffUnit, BSigma: sigma(f.stiff(i)) * stiffUnit,
		Place:      Ends{NutMM: f.x[f.nut(i)], SaddleMM: f.x[f.saddle(i)]},
		PlaceSigma: Ends{NutMM: sigma(f.nut(i)), SaddleMM: sigma(f.saddle(i))},
	}
	f.findHeight(i, &out, misfit)
	out.Determined = out.PlaceSigma.NutMM < undetermined && out.PlaceSigma.SaddleMM < undetermined
	if out.Determined {
		f.nutRows[i] = f.findMove(i, &out, misfit)
	}
	for j, r := range f.readings {
		if r.String == s.Number {
			out.Notes = append(out.Notes, f.noteResult(i, j, misfit, &out))
		}
	}
	for k := range s.Frets {
		out.Curve = append(out.Curve, f.curvePoint(i, k, misfit, &out))
	}
	out.Now, out.After = spreads(out.Notes)
	out.Harmonic = harmonicsOf(out.Notes)
	out.Verdict = judge(&out)
	return out
}

// noteResult sets reading j, of string i, against the fit.
func (f *fitting) noteResult(i, j int, misfit float64, s *StringResult) NoteResult {
	r := f.readings[j]
	out := NoteResult{
		Note: r.Note, Label: f.board.Label(r.Note), Plucks: r.Plucks, LeftOut: f.dropped[j],
		Cents: r.Cents - s.PitchCents, Sigma: misfit * math.Hypot(r.Sigma, s.PitchSigma/misfit),
	}
	if r.Open() {
		out.Sigma = misfit * r.Sigma
	}
	out.FitCents = f.inPlace(i, r.Note)
	out.Residual = out.Cents - out.FitCents
	if r.Fret > 0 {
		ratio := f.board.ratio(r.Note)
		_, _, perMM := slopes(f.board.Strings[i].ScaleMM, s.Place, ratio, 0)
		out.ResidualMM, out.SigmaMM = out.Residual/perMM, out.Sigma/perMM
		out.AfterCents = out.Cents + f.moved(i, r.Fret-1, s)
	} else {
		out.AfterCents = out.Cents
	}
	return out
}

// inPlace returns what the fit makes of a note of string i if every fret stands in its place, in
// cents above the open string.
func (f *fitting) inPlace(i int, n Note) float64 {
	switch {
	case n.Harmonic > 0:
		return Stiffness(max(f.x[f.stiff(i)], 0)*stiffUnit, float64(n.Harmonic))
	case n.Fret > 0:
		return f.fretted(i, n.Fret-1, f.x, 0)
	}
	return 0
}

// moved returns by how much the moves change the note of fret k (from 0), in cents.
func (f *fitting) moved(i, k int, s *StringResult) float64 {
	p := f.bodyOf(i, f.x)
	after := Ends{NutMM: s.Place.NutMM + s.Move.NutMM, SaddleMM: s.Place.SaddleMM + s.Move.SaddleMM}
	return p.sharpness(after, f.stops[i][k]) - p.sharpness(s.Place, f.stops[i][k])
}

func (f *fitting) curvePoint(i, k int, misfit float64, s *StringResult) CurvePoint {
	n := Note{String: s.Number, Fret: k + 1}
	fret := f.board.Strings[i].Frets[k]
	_, a := f.predict(n, f.x)
	// Without the open string's pitch and the fret's own place.
	smooth := row{}
	for j := range a.n {
		if a.at[j] != f.pitch(i) && a.at[j] != f.slot(f.slots.of[i][k]) {
			smooth.add(a.at[j], a.slope[j])
		}
	}
	now := f.inPlace(i, n)
	return CurvePoint{
		Fret: k + 1, NutMM: fret.NutMM, Now: now, After: now + f.moved(i, k, s),
		Sigma: misfit * math.Sqrt(max(smooth.quadratic(f.cov), 0)),
	}
}

func spreads(notes []NoteResult) (now, after Spread) {
	count := 0
	for _, n := range notes {
		if n.Fret == 0 || n.LeftOut {
			continue
		}
		count++
		now.see(n.Fret, n.Cents)
		after.see(n.Fret, n.AfterCents)
	}
	if count > 0 {
		now.RMSCents = math.Sqrt(now.RMSCents / float64(count))
		after.RMSCents = math.Sqrt(after.RMSCents / float64(count))
	}
	return now, after
}

// see adds to the sum of squares, for now in RMSCents.
func (s *Spread) see(fret int, cents float64) {
	s.RMSCents += cents * cents
	if math.Abs(cents) > math.Abs(s.WorstCents) {
		s.WorstCents, s.WorstFret = cents, fret
	}
}

func harmonicsOf(notes []NoteResult) HarmonicsResult {
	h := HarmonicsResult{Explained: true}
	worst := -1.0
	for _, n := range notes {
		if n.Harmonic == 0 {
			continue
		}
		h.Read++
		if z := math.Abs(n.Residual) / n.Sigma; z > worst {
			worst = z
			h.Harmonic, h.Cents, h.Sigma = n.Harmonic, n.Residual, n.Sigma
			h.Explained = z <= 3
		}
	}
	return h
}

// fretResults tells of every slot that was heard.
func (f *fitting) fretResults(misfit float64) []FretResult {
	out := []FretResult{} // a list, also if empty
	for k, fret := range f.slots.frets {
		heard := f.heardOn(k)
		mm, sigma, ok := f.fretPlace(k)
		if len(heard) == 0 || !ok {
			continue
		}
		i, _ := f.board.at(heard[0])
		_, _, perMM := slopes(f.board.Strings[i].ScaleMM, Ends{}, f.board.Strings[i].Frets[fret-1].Ratio(), 0)
		out = append(out, FretResult{
			Fret: fret, Strings: heard, MM: mm, Sigma: misfit * sigma, Cents: mm * perMM,
			Off: slices.Contains(f.freed, k),
		})
	}
	slices.SortStableFunc(out, func(a, b FretResult) int { return a.Fret - b.Fret })
	return out
}

// heardOn returns the strings on which a slot was read and not left out.
func (f *fitting) heardOn(slot int) []int {
	var on []int
	for i, s := range f.board.Strings {
		for j, r := range f.readings {
			if r.String == s.Number && r.Fret > 0 && !f.dropped[j] && f.slots.of[i][r.Fret-1] == slot && !slices.Contains(on, s.Number) {
				on = append(on, s.Number)
			}
		}
	}
	return on
}
