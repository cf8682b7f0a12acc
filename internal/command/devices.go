package command

import (
	"cmp"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"tunerd/internal/device"
	"tunerd/internal/display/text"
)

func newDevicesCommand(d Deps) *cobra.Command {
	var o listingOptions
	cmd := &cobra.Command{
		Use:   "devices",
		Short: "List microphones and other sound devices",
		Long: `List the sound devices of this computer. A device with input channels can be listened to
with --input mic:NAME; without a name the default input is taken.`,
		Args: usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runDevices(d, cmd.OutOrStdout(), cmd.ErrOrStderr(), o)
		},
	}
	o.addFlags(cmd.Flags())
	return cmd
}

func runDevices(d Deps, out, chat io.Writer, o listingOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	devices, err := d.Devices()
	if err != nil {
		return err
	}
	if len(devices) == 0 {
		fmt.Fprintln(chat, "tunerd: no sound devices; recordings, standard input and the demo work without")
		return nil
	}
	if o.plain() {
		return writeDevicesTable(out, devices)
	}
	return o.write(out, devicesListing(devices))
}

// devicesListing is the list in JSON and CSV; see docs/formats.md.
func devicesListing(devices []device.Device) *text.Listing {
	l := &text.Listing{Type: "device"}
	for _, name := range []string{
		"name", "system", "input_channels", "output_channels", "sample_rate_hz",
		"low_latency_s", "high_latency_s", "default_input", "default_output",
	} {
		l.Columns = append(l.Columns, text.Column{Name: name, Title: name})
	}
	for _, d := range devices {
		l.Rows = append(l.Rows, []any{
			d.Name, d.HostAPI, d.MaxInput, d.MaxOutput, d.DefaultRate,
			d.LowLatency.Seconds(), d.HighLatency.Seconds(), d.DefaultInput, d.DefaultOutput,
		})
	}
	return l
}

func writeDevicesTable(out io.Writer, devices []device.Device) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tSYSTEM\tIN\tOUT\tRATE\tLATENCY\tDEFAULT")
	for _, d := range devices {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%g Hz\t%v-%v\t%s\n", d.Name, d.HostAPI, d.MaxInput, d.MaxOutput,
			d.DefaultRate, d.LowLatency.Round(time.Millisecond), d.HighLatency.Round(time.Millisecond), defaultOf(d))
	}
	return w.Flush()
}

// defaultOf says for what the system takes the device when none is named.
func defaultOf(d device.Device) string {
	var of []string
	if d.DefaultInput {
		of = append(of, "input")
	}
	if d.DefaultOutput {
		of = append(of, "output")
	}
	return cmp.Or(strings.Join(of, ", "), "-")
}
