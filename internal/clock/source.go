package clock

import "tunerd/internal/capture"

// A corrected source knows the true rate of its samples.
type corrected struct {
	capture.Source
	correction Correction
}

// Correct returns a source that delivers what s does, and of which capture.TrueRate tells the rate
// that s has by the correction.
func Correct(s capture.Source, c Correction) capture.Source {
	if c == (Correction{}) {
		return s
	}
	return &corrected{s, c}
}

// Of returns the correction that a source was given; the zero Correction if none.
func Of(s capture.Source) Correction {
	if c, ok := s.(interface{ Clock() Correction }); ok {
		return c.Clock()
	}
	return Correction{}
}

// Clock is what Of returns.
func (c *corrected) Clock() Correction { return c.correction }

func (c *corrected) TrueRate() float64 { return c.correction.Rate(c.SampleRate()) }

// Waits is what capture.Waits tells of the source itself.
func (c *corrected) Waits() bool { return capture.Waits(c.Source) }

// Len is how many samples a recording has; 0 if that is not known.
func (c *corrected) Len() int64 {
	if sized, ok := c.Source.(interface{ Len() int64 }); ok {
		return sized.Len()
	}
	return 0
}
