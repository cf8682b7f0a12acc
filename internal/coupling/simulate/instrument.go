package simulate

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"tunerd/internal/coupling"
)

// logPerCent is ln T per cent.
const logPerCent = 2 * math.Ln2 / 1200

// Flaws are what a real instrument has and the learner's model has not.
type Flaws struct {
	Friction float64 // μ·θ at the nut: a string slides over it when the pulls on both sides differ by more than e^±Friction
	Creep    float64 // part of its elastic stretch by which a string lengthens under its load, in time
	CreepLag float64 // moves until 63 % of that are done
}

// An Instrument is one of its kind, with truth.
type Instrument struct {
	Kind  Kind
	flaws Flaws
	n     int
	ea    []float64
	give  *mat.Dense // C, mm/N
	x     []float64  // movement of the support at each string, mm
	// Natural lengths, mm: of the string as far as the nut, and behind it as far as the peg. Without friction
	// a string is one piece, all of it in front.
	front, behind []float64
	stretch       []float64 // that creep has added to the natural lengths, as part of them
	cents         []float64
}

// Spread is how instruments of one kind differ, as in the table of docs/coupling.md: logarithms.
const (
	stiffnessSpread = 0.15
	giveSpread      = 0.7
	leverSpread     = 0.04
	reachSpread     = 0.25
)

// New draws an instrument.
func New(k Kind, f Flaws, rng *rand.Rand) *Instrument {
	n := len(k.Strings)
	in := &Instrument{
		Kind: k, flaws: f, n: n, ea: make([]float64, n), give: mat.NewDense(n, n, nil), x: make([]float64, n),
		front: make([]float64, n), behind: make([]float64, n), stretch: make([]float64, n), cents: make([]float64, n),
	}
	for i := range n {
		in.ea[i] = k.Strings[i].EA * math.Exp(stiffnessSpread*rng.NormFloat64())
	}
	reach := k.reach * math.Exp(reachSpread*rng.NormFloat64())
	middle, half := middleOf(k.Strings)
	for m, g := range k.gives {
		w := math.Exp(giveSpread*rng.NormFloat64()) / g.stiffness
		for i := range n {
			for j := range n {
				shape := 1.0
				switch {
				case g.tilts:
					shape = (k.Strings[i].Place - middle) * (k.Strings[j].Place - middle) / (half * half)
				case k.reach > 0 && m == 1:
					r := math.Abs(k.Strings[i].Place-k.Strings[j].Place) / reach
					shape = math.Exp(-r) * (math.Cos(r) + math.Sin(r))
				}
				in.give.Set(i, j, in.give.At(i, j)+w*shape)
			}
		}
	}
	lever := make([]float64, n)
	for i := range lever {
		lever[i] = 1 + leverSpread*rng.NormFloat64()
	}
	in.give.Apply(func(i, j int, v float64) float64 { return v * lever[i] * lever[j] }, in.give)
	return in
}

func middleOf(s []coupling.String) (middle, half float64) {
	lo, hi := s[0].Place, s[len(s)-1].Place
	return (lo + hi) / 2, (hi - lo) / 2
}

// SetGive puts another support under the strings, mm/N.
func (in *Instrument) SetGive(c *mat.Dense) { in.give.Copy(c) }

// Cents returns what string i sounds at.
func (in *Instrument) Cents(i int) float64 { return in.cents[i] }

// pullAt returns the tension of the sounding part of string i if it sounds at cents with its support at x,
// and the slope in x. Pitch goes as √(T·(1+T/EA))/(s − x): a stretched string is lighter by its length.
func (in *Instrument) pullAt(i int, cents, x float64) (t, slope float64) {
	s, ea := &in.Kind.Strings[i], in.ea[i]
	q := s.TensionN * (1 + s.TensionN/ea) * math.Exp(logPerCent*cents) * math.Pow(1-x/s.SoundingMM, 2)
	t = ea / 2 * (-1 + math.Sqrt(1+4*q/ea))
	return t, -2 * q / (s.SoundingMM - x) / (1 + 2*t/ea)
}

// lengths returns those in front of the nut and behind it, with the support where it is in tune.
func (in *Instrument) lengths(i int) (front, behind float64) {
	s := &in.Kind.Strings[i]
	if in.flaws.Friction == 0 {
		return s.LengthMM, 0
	}
	behind = 0.4 * (s.LengthMM - s.SoundingMM) // the rest is behind the bridge
	return s.LengthMM - behind, behind
}

// hang returns the tension of string i in front of its nut with the support at x and its slope, and the
// natural lengths that it then has on both sides.
func (in *Instrument) hang(i int, x float64) (t, slope, front, behind float64) {
	ea, grown := in.ea[i], 1+in.stretch[i]
	lf, lb := in.lengths(i)
	front, behind = in.front[i], in.behind[i]
	t = ea * ((lf-x)/(front*grown) - 1)
	slope = -ea / (front * grown)
	if in.flaws.Friction == 0 {
		return t, slope, front, behind
	}
	back := ea * (lb/(behind*grown) - 1)
	ratio := 1.0
	switch e := math.Exp(in.flaws.Friction); {
	case back > t*e:
		ratio = e
	case back < t/e:
		ratio = 1 / e
	default:
		return t, slope, front, behind
	}
	// It slides until back = ratio·t: (lf−x)/(1+t/EA) + lb/(1+ratio·t/EA) is all there is of it.
	whole := (front + behind) * grown
	for range 8 {
		a, b := 1+t/ea, 1+ratio*t/ea
		t -= ((lf-x)/a + lb/b - whole) / -((lf-x)/(a*a) + ratio*lb/(b*b)) * ea
	}
	a, b := 1+t/ea, 1+ratio*t/ea
	slope = -(1 / a) / ((lf-x)/(a*a) + ratio*lb/(b*b)) * ea
	return t, slope, (lf - x) / a / grown, lb / b / grown
}

// Start strings the instrument so that its strings sound at cents, at rest, with no friction to be overcome.
func (in *Instrument) Start(cents []float64) {
	copy(in.cents, cents)
	for i := range in.x {
		in.x[i] = 0
	}
	in.settle(func(i int, x float64) (float64, float64) { return in.pullAt(i, cents[i], x) })
	for i := range in.n {
		t, _ := in.pullAt(i, cents[i], in.x[i])
		lf, lb := in.lengths(i)
		in.stretch[i] = in.flaws.Creep * t / in.ea[i]
		grown := (1 + t/in.ea[i]) * (1 + in.stretch[i])
		in.front[i], in.behind[i] = (lf-in.x[i])/grown, lb/grown
	}
}

// settle finds where the support stands, x = C·(T(x) − T*), by Newton's method.
func (in *Instrument) settle(pull func(i int, x float64) (t, slope float64)) {
	n := in.n
	j, f, step := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	more, slope := make([]float64, n), make([]float64, n)
	for range 50 {
		for i := range n {
			var t float64
			t, slope[i] = pull(i, in.x[i])
			more[i] = t - in.Kind.Strings[i].TensionN
		}
		for a := range n {
			f.SetVec(a, in.x[a])
			for b := range n {
				f.SetVec(a, f.AtVec(a)-in.give.At(a, b)*more[b])
				j.Set(a, b, -in.give.At(a, b)*slope[b])
			}
			j.Set(a, a, j.At(a, a)+1)
		}
		_ = step.SolveVec(j, f) // 1 + C·(a positive diagonal) has an inverse
		worst := 0.0
		for i := range n {
			in.x[i] -= step.AtVec(i)
			worst = max(worst, math.Abs(step.AtVec(i)))
		}
		if worst < 1e-10 {
			return
		}
	}
}

// Turn turns the peg of string i until it sounds at cents. All others follow.
func (in *Instrument) Turn(i int, cents float64) {
	raised := cents > in.cents[i]
	in.settle(func(k int, x float64) (float64, float64) {
		if k == i {
			return in.pullAt(i, cents, x)
		}
		t, slope, _, _ := in.hang(k, x)
		return t, slope
	})
	t, _ := in.pullAt(i, cents, in.x[i])
	back := t * math.Exp(in.flaws.Friction) // the peg has to pull harder than the string, or less
	if !raised {
		back = t * math.Exp(-in.flaws.Friction)
	}
	lf, lb := in.lengths(i)
	in.front[i] = (lf - in.x[i]) / (1 + t/in.ea[i]) / (1 + in.stretch[i])
	in.behind[i] = lb / (1 + back/in.ea[i]) / (1 + in.stretch[i])
	in.rest()
}

// rest lets strings slide over their nuts as far as they do, and takes down what they sound at.
func (in *Instrument) rest() {
	for i := range in.n {
		s := &in.Kind.Strings[i]
		t, _, front, behind := in.hang(i, in.x[i])
		in.front[i], in.behind[i] = front, behind
		in.cents[i] = (math.Log(t*(1+t/in.ea[i])/(s.TensionN*(1+s.TensionN/in.ea[i]))) - 2*math.Log(1-in.x[i]/s.SoundingMM)) / logPerCent
	}
}

// Wait lets the strings creep for the time of one move.
func (in *Instrument) Wait() {
	if in.flaws.Creep == 0 {
		return
	}
	for i := range in.n {
		t, _, _, _ := in.hang(i, in.x[i])
		in.stretch[i] += (in.flaws.Creep*t/in.ea[i] - in.stretch[i]) * -math.Expm1(-1/in.flaws.CreepLag)
	}
	in.settle(func(k int, x float64) (float64, float64) {
		t, slope, _, _ := in.hang(k, x)
		return t, slope
	})
	in.rest()
}
