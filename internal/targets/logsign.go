package targets

import (
	"cmp"
	"math"
	"math/big"
	"sync"
)

// Cmp returns -1, 0 or +1 as a is smaller than, equal to or greater than b. Exact intervals are
// ordered exactly, however close they lie.
func (a Interval) Cmp(b Interval) int {
	if a.inexact || b.inexact {
		return cmp.Compare(a.Cents(), b.Cents())
	}
	d := a.Sub(b)
	if len(d.factors) == 0 {
		return 0
	}
	if c := d.Cents(); math.Abs(c) > 1e-6 { // far above the rounding error of Cents
		return cmp.Compare(c, 0)
	}
	return logSign(d.factors)
}

// logSign returns the sign of Σ exp·ln(prime), which is not zero because logarithms of primes
// are linearly independent over the rationals. It raises the precision until the sum stands
// clear of its rounding error.
func logSign(factors []factor) int {
	for prec := uint(128); ; prec *= 2 {
		sum := new(big.Float).SetPrec(prec)
		for _, f := range factors {
			term := new(big.Float).SetPrec(prec).SetRat(f.exp)
			sum.Add(sum, term.Mul(term, lnInt(f.prime, prec)))
		}
		// The terms are below 2^40, so half of the digits are far more than rounding costs.
		if sum.Sign() != 0 && sum.MantExp(nil) > -int(prec)/2 {
			return sum.Sign()
		}
	}
}

// lnInt returns ln(n) for n ≥ 1 with about prec bits: ln(n) = k·ln 2 + ln(m), n = m·2^k, 1 ≤ m < 2.
func lnInt(n uint64, prec uint) *big.Float {
	m := new(big.Float).SetPrec(prec).SetUint64(n)
	k := m.MantExp(m) - 1
	m.SetMantExp(m, 1)
	ln := lnSeries(m, prec)
	if k > 0 {
		two := new(big.Float).SetPrec(prec).SetInt64(2)
		ln2 := lnSeries(two, prec)
		ln.Add(ln, ln2.Mul(ln2, new(big.Float).SetInt64(int64(k))))
	}
	return ln
}

// lnSeries returns ln(m) for 1 ≤ m ≤ 2 as 2·artanh(z), z = (m-1)/(m+1) ≤ 1/3.
func lnSeries(m *big.Float, prec uint) *big.Float {
	one := new(big.Float).SetPrec(prec).SetInt64(1)
	z := new(big.Float).SetPrec(prec).Sub(m, one)
	z.Quo(z, new(big.Float).SetPrec(prec).Add(m, one))
	square := new(big.Float).SetPrec(prec).Mul(z, z)
	sum := new(big.Float).SetPrec(prec)
	term := new(big.Float).SetPrec(prec)
	for i := int64(1); z.Sign() != 0 && z.MantExp(nil) > -int(prec); i += 2 {
		sum.Add(sum, term.Quo(z, new(big.Float).SetInt64(i)))
		z.Mul(z, square)
	}
	return sum.Add(sum, sum)
}

// smallPrimes returns the primes below 65536, ascending.
var smallPrimes = sync.OnceValue(func() []uint64 {
	const limit = 1 << 16
	composite := make([]bool, limit)
	var primes []uint64
	for n := 2; n < limit; n++ {
		if composite[n] {
			continue
		}
		primes = append(primes, uint64(n))
		for m := n * n; m < limit; m += n {
			composite[m] = true
		}
	}
	return primes
})
