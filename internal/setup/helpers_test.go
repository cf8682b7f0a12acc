package setup

import "fmt"

func fmtf(format string, args ...any) string { return fmt.Sprintf(format, args...) }
