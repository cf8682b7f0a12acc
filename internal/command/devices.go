package command

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"tunerd/internal/device"
)

type devicesOptions struct {
	json bool
}

func (o *devicesOptions) addFlags(fs *pflag.FlagSet) {
	fs.BoolVar(&o.json, "json", false, "print one JSON object a line")
}

func newDevicesCommand(d Deps) *cobra.Command {
	var o devicesOptions
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

func runDevices(d Deps, out, chat io.Writer, o devicesOptions) error {
	devices, err := d.Devices()
	if err != nil {
		return err
	}
	if len(devices) == 0 {
		fmt.Fprintln(chat, "tunerd: no sound devices; recordings, standard input and the demo work without")
		return nil
	}
	if o.json {
		return writeDevicesJSON(out, devices)
	}
	return writeDevicesTable(out, devices)
}

// A deviceLine is the JSON form of a device.
type deviceLine struct {
	Type           string  `json:"type"`
	Name           string  `json:"name"`
	System         string  `json:"system"`
	InputChannels  int     `json:"input_channels"`
	OutputChannels int     `json:"output_channels"`
	SampleRate     float64 `json:"sample_rate_hz"`
	LowLatency     float64 `json:"low_latency_s"`
	HighLatency    float64 `json:"high_latency_s"`
	DefaultInput   bool    `json:"default_input"`
	DefaultOutput  bool    `json:"default_output"`
}

func writeDevicesJSON(out io.Writer, devices []device.Device) error {
	enc := json.NewEncoder(out)
	for _, d := range devices {
		err := enc.Encode(deviceLine{
			Type: "device", Name: d.Name, System: d.HostAPI,
			InputChannels: d.MaxInput, OutputChannels: d.MaxOutput, SampleRate: d.DefaultRate,
			LowLatency: d.LowLatency.Seconds(), HighLatency: d.HighLatency.Seconds(),
			DefaultInput: d.DefaultInput, DefaultOutput: d.DefaultOutput,
		})
		if err != nil {
			return err
		}
	}
	return nil
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
