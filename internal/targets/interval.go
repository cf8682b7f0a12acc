package targets

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"slices"
)

// An Interval is the distance between two pitches. The zero value is the unison 1/1.
//
// An interval made from ratios, equal divisions and sums of these is exact: it is held as a
// product of primes with rational exponents, 2^a·3^b·5^c…, which is unique. So the fifth of
// 12edo, 2^(7/12), and the ratio 3/2 are never mistaken for one another, and twelve steps of
// 12edo are 2/1 and nothing near it. An interval given in cents is a float64, and so is every
// sum that it takes part in.
type Interval struct {
	factors []factor // ascending primes, no exponent zero
	cents   float64  // size when inexact
	inexact bool
}

// A factor is one prime power of an exact interval. exp is never changed once it is set.
type factor struct {
	prime uint64
	exp   *big.Rat
}

// octave is the ratio 2/1.
var octave = Interval{factors: []factor{{2, big.NewRat(1, 1)}}}

// Ratio returns the exact interval num/den. It refuses zero, and a side that cannot be factored
// quickly: one above 2^32 with a prime factor above 65536.
func Ratio(num, den uint64) (Interval, error) {
	up, err := factorise(num)
	if err != nil {
		return Interval{}, err
	}
	down, err := factorise(den)
	if err != nil {
		return Interval{}, err
	}
	return Interval{factors: up}.Sub(Interval{factors: down}), nil
}

// Cents returns the inexact interval of that many cents.
func Cents(cents float64) Interval { return Interval{cents: cents, inexact: true} }

// MarshalText writes the interval as String does, for JSON.
func (a Interval) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// Exact says whether the interval is held exactly.
func (a Interval) Exact() bool { return !a.inexact }

// Cents returns the size in cents, 1200·log2 of the ratio. The rounding error is below 1e-9
// cents for every interval that ParseInterval accepts.
func (a Interval) Cents() float64 {
	if a.inexact {
		return a.cents
	}
	sum := 0.0
	for _, f := range a.factors {
		e, _ := f.exp.Float64()
		sum += 1200 * e * math.Log2(float64(f.prime))
	}
	return sum
}

// Add returns the interval a followed by b: the product of their ratios.
func (a Interval) Add(b Interval) Interval {
	if a.inexact || b.inexact {
		return Cents(a.Cents() + b.Cents())
	}
	sum := make([]factor, 0, len(a.factors)+len(b.factors))
	i, j := 0, 0
	for i < len(a.factors) && j < len(b.factors) {
		fa, fb := a.factors[i], b.factors[j]
		switch cmp.Compare(fa.prime, fb.prime) {
		case -1:
			sum = append(sum, fa)
			i++
		case 1:
			sum = append(sum, fb)
			j++
		default:
			if e := new(big.Rat).Add(fa.exp, fb.exp); e.Sign() != 0 {
				sum = append(sum, factor{fa.prime, e})
			}
			i++
			j++
		}
	}
	sum = append(sum, a.factors[i:]...)
	return Interval{factors: append(sum, b.factors[j:]...)}
}

// Sub returns the interval from b up to a: the quotient of their ratios.
func (a Interval) Sub(b Interval) Interval { return a.Add(b.Mul(-1)) }

// Mul returns the interval k times over: the k-th power of its ratio.
func (a Interval) Mul(k int) Interval {
	if a.inexact {
		return Cents(a.cents * float64(k))
	}
	return a.scale(big.NewRat(int64(k), 1))
}

// Div returns the n-th part of the interval: the n-th root of its ratio. It panics if n is 0.
func (a Interval) Div(n int) Interval {
	if n == 0 {
		panic("targets: interval divided by 0")
	}
	if a.inexact {
		return Cents(a.cents / float64(n))
	}
	return a.scale(big.NewRat(1, int64(n)))
}

func (a Interval) scale(by *big.Rat) Interval {
	if by.Sign() == 0 {
		return Interval{}
	}
	scaled := make([]factor, len(a.factors))
	for i, f := range a.factors {
		scaled[i] = factor{f.prime, new(big.Rat).Mul(f.exp, by)}
	}
	return Interval{factors: scaled}
}

// Equal says whether a and b are the same interval. Exact intervals are compared exactly; once
// one is in cents, the two sizes must be the same float64.
func (a Interval) Equal(b Interval) bool {
	if a.inexact || b.inexact {
		return a.Cents() == b.Cents()
	}
	return slices.EqualFunc(a.factors, b.factors, func(f, g factor) bool {
		return f.prime == g.prime && f.exp.Cmp(g.exp) == 0
	})
}

// Rat returns the ratio of the interval, and false if it is not a ratio of whole numbers or has
// a side of more than 256 bits.
func (a Interval) Rat() (*big.Rat, bool) {
	if a.inexact {
		return nil, false
	}
	num, den := big.NewInt(1), big.NewInt(1)
	for _, f := range a.factors {
		side := num
		if f.exp.Sign() < 0 {
			side = den
		}
		if !f.exp.IsInt() || !mulPower(side, f.prime, f.exp.Num()) {
			return nil, false
		}
	}
	return new(big.Rat).SetFrac(num, den), true
}

// ratio returns the frequency ratio, correctly rounded if it is one of whole numbers.
func (a Interval) ratio() float64 {
	if r, ok := a.Rat(); ok {
		x, _ := r.Float64()
		return x
	}
	return math.Exp2(a.Cents() / 1200)
}

// mulPower multiplies side by prime^|exp|, and gives up beyond 256 bits.
func mulPower(side *big.Int, prime uint64, exp *big.Int) bool {
	if exp.BitLen() > 9 {
		return false
	}
	e := new(big.Int).Abs(exp)
	side.Mul(side, e.Exp(new(big.Int).SetUint64(prime), e, nil))
	return side.BitLen() <= 256
}

// factorise returns n as prime powers, ascending.
func factorise(n uint64) ([]factor, error) {
	if n == 0 {
		return nil, fmt.Errorf("a ratio has no side 0")
	}
	var out []factor
	rest := n
	for _, p := range smallPrimes() {
		if p*p > rest {
			break
		}
		count := int64(0)
		for rest%p == 0 {
			rest /= p
			count++
		}
		if count > 0 {
			out = append(out, factor{p, big.NewRat(count, 1)})
		}
	}
	if rest >= 1<<32 {
		return nil, fmt.Errorf("%d has a prime factor above 65536; a side above 4294967295 may not", n)
	}
	if rest > 1 {
		out = append(out, factor{rest, big.NewRat(1, 1)})
	}
	return out, nil
}

// CentsBetween returns the size in cents of the interval from one pitch to another, both in Hz:
// 1200·log2(to/from). It is negative if to is the lower.
func CentsBetween(from, to float64) float64 { return 1200 * math.Log2(to/from) }
