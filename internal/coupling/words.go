package coupling

import (
	"fmt"

	"tunerd/internal/tension"
)

// Caution stands beside every advice.
const Caution = "Turn one string at a time, and wear eye protection: a bridge under spring load lets go at once. The maker's limits and a licensed technician's word stand above these figures."

// Words says what moved by itself.
func (o Odd) Words() string {
	if o.Turned {
		return fmt.Sprintf("string %d sounds %+.1f cents from where it was turned to: its peg slips, or its nut holds it", o.String+1, o.Cents)
	}
	return fmt.Sprintf("string %d has moved by %+.1f cents though nothing was turned: it creeps, or was touched", o.String+1, o.Cents)
}

// Words says what a table of the pass does not.
func (p *Pass) Words() []string {
	if len(p.Steps) == 0 {
		return []string{"All strings are in tune as far as is known; nothing is to be turned."}
	}
	var all []string
	if p.Short {
		all = append(all, "The limits of tension cut moves short, so it takes another pass. A floating bridge that is blocked first is tuned as if it were rigid; its springs are then set so that it floats where it did.")
	}
	if unsure := p.Unsure(); len(unsure) > 0 {
		all = append(all, fmt.Sprintf("It is not sure that %s will be within ±%d cent after it; hear all strings then, and go on from there.", tension.StringList(unsure), InTuneCents))
	}
	return append(all, Caution)
}

// Words says what springs have to do.
func (s Spring) Words() string {
	return fmt.Sprintf("So that the bridge stays where it was, its springs pull with %+.1f N along the strings (times string arm over spring arm at the springs); unchanged, the bridge moves by %+.2f mm. Both rest on the assumed stiffness of the strings, which may be off by 15 %% or more.", s.ForceN, s.WayMM)
}
