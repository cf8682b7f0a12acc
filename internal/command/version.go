package command

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

func newVersionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  usageArgs(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintf(cmd.OutOrStdout(), "tunerd %s\n", version())
			return err
		},
	}
}

// version names the build as the Go toolchain stamped it, and the system it was built for.
func version() string {
	v := "(devel)"
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		v = info.Main.Version
	}
	return fmt.Sprintf("%s %s %s/%s", v, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}
