package coupling

import "slices"

// A Move is a string that is turned, and what all strings then read.
type Move struct {
	String   int       `json:"string"`    // from 1
	AimCents float64   `json:"aim_cents"` // that it is to be turned to, against its target
	Cents    []float64 `json:"cents"`     // of all strings after it
	Sigma    []float64 `json:"sigma"`
}

// A Record is a pass: what was forecast of it, move by move, and what came.
type Record struct {
	Labels     []string  `json:"labels"`
	Start      []float64 `json:"start"` // cents of all strings before it
	StartSigma []float64 `json:"start_sigma"`
	Forecast   []Move    `json:"forecast"`
	Moves      []Move    `json:"moves"`
}

func (r *Record) clone() Record {
	c := *r
	c.Forecast, c.Moves = slices.Clone(r.Forecast), slices.Clone(r.Moves)
	return c
}
