// Package simulate has instruments whose strings pull on each other with known truth, hands that tune them,
// and counts how many moves that takes: with the advice of package coupling, and round and round as at the
// bench.
//
// The instruments are non-linear and know nothing of the learner's equations: they find the place of the
// support by Newton's method from the law of each string. Nuts may hold strings by friction, strings may
// creep, supports give in a reach that no learner has, and what a hand does slips. Stiffness of supports is
// an estimate, since no measurements were found; every instrument draws its own.
package simulate
