package mic

import (
	"os"
	"testing"

	"tunerd/internal/device"
)

func TestMain(m *testing.M) {
	device.ServeIfAsked()
	os.Exit(m.Run())
}
