// Package coupling says how the strings of one instrument pull on each other, learns it from what is
// heard while the instrument is tuned, and advises what to tune each string to now, so that one pass
// ends in tune.
//
// # The model
//
// String i has the axial stiffness E·A of its core (N), the length l between its anchors, the sounding
// length s (mm) and the tension T* in tune (N). Its support gives by x_i along the string:
//
//	T_i = E·A_i·((l_i − x_i)/L0_i − 1)     x = C·(T − T*)
//
// A peg changes the natural length L0. C (mm/N) is symmetric and not negative: a sum of shapes with
// weights that are not known, C = Σ w_m·B_m, each row and column times the lever ratio of its string. With
// k = E·A/l (N/mm) and A = (diag(1/k) + C)⁻¹, turning string i moves the tension of the others by
//
//	ΔT_j = R_ji·ΔT_i,   R_ji = A_ji/A_ii
//
// for small moves and large: only the step from tension to cents is not linear,
//
//	c_j' = c_j + m_j·(600/ln 2)·ln(T_j'/T_j),   m_j = 1 − (T_j/E·A_j)·(2·l_j/s_j − 1)
//
// where m takes off what the string loses in density and the sounding length gains. All of it is derived in
// docs/coupling.md, which has an example worked by hand. D. Hebenstreit, J. Acoust. Soc. Am. 143 (2018),
// treats vibrato bridges, and J. A. Kemp, PLOS ONE 12 (2017) e0184803, the stiffness of plain and wound
// strings; of both only the abstracts were seen, so nothing here rests on them.
//
// What the string in hand reads before and after its move is the cause, what the others read the effect, so
// that no peg's way need be known. Only k/K can be learned: millimetres and newtons at a spring carry the
// error of the stiffness that was assumed.
//
// # Where to start
//
// A Prior is what is believed of an instrument before it was heard, a Learner what is believed since, an
// Adviser what to do next. Known is what is kept between two sessions. Units: N, mm, cents against the
// target of each string; strings are counted from 0.
package coupling
