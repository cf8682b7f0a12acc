package device

import "os"

// executable is this program itself, also where its file was replaced since it started.
func executable() (string, error) {
	const self = "/proc/self/exe"
	if _, err := os.Stat(self); err == nil {
		return self, nil
	}
	return os.Executable()
}

// nameProcess gives the child the name that lists of processes show: it was started as "exe".
func nameProcess() { _ = os.WriteFile("/proc/self/comm", []byte("tunerd"), 0) } // for the eye only
