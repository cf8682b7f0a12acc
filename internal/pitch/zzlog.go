package pitch

import (
	"fmt"
	"os"
)

func zzlog(format string, a ...any) {
	if os.Getenv("LOG") != "" {
		fmt.Printf(format, a...)
	}
}
