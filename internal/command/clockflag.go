package command

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"tunerd/internal/capture"
	"tunerd/internal/clock"
	"tunerd/internal/display"
)

// A clockFlag says for what rate error of the sound card readings are corrected: auto, none or a
// number. Its zero value is auto.
type clockFlag struct {
	off bool
	ppm float64 // given; 0: none was
}

func (c *clockFlag) Type() string { return "PPM" }

func (c *clockFlag) String() string {
	switch {
	case c.off:
		return "none"
	case c.ppm != 0:
		return strconv.FormatFloat(c.ppm, 'g', -1, 64)
	}
	return "auto"
}

func (c *clockFlag) Set(text string) error {
	*c = clockFlag{}
	switch text {
	case "auto":
		return nil
	case "none":
		c.off = true
		return nil
	}
	ppm, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return errors.New("write auto, none or a number of parts per million")
	}
	c.ppm, c.off = ppm, ppm == 0
	return clock.Check(ppm)
}

// correct gives a source the correction that the flag asks for. Of microphones alone it is known
// which card they are.
func (c *clockFlag) correct(input string, source capture.Source) (capture.Source, error) {
	switch {
	case c.off:
		return source, nil
	case c.ppm != 0:
		return clock.Correct(source, clock.Correction{PPM: c.ppm, By: clock.ByUser}), nil
	case !isMicrophone(input):
		return source, nil
	}
	table, err := loadClocks()
	if err != nil {
		return nil, hintf(err, "--clock none goes on without a correction")
	}
	return clock.Correct(source, table.For(source.Name(), source.SampleRate())), nil
}

// tellClock says on chat for what clock error the readings of a source are corrected.
func tellClock(chat io.Writer, source capture.Source) {
	if c := clock.Of(source); c.By != "" {
		fmt.Fprintf(chat, "tunerd: %s: readings are corrected by %s cents\n", display.Clock(c), display.Signed(clock.Cents(c.PPM), 3))
	}
}

// isMicrophone tells whether an input is a device of this computer.
func isMicrophone(input string) bool { return input == "mic" || strings.HasPrefix(input, "mic:") }

// loadClocks reads the user's table of sound cards.
func loadClocks() (*clock.Table, error) {
	path, err := clock.DefaultPath()
	if err != nil {
		return nil, err
	}
	return clock.Load(path)
}
