// Package service is what a program does to be a good service: it tells the service manager how
// it is, and keeps its secrets in files of the user.
package service

import (
	"fmt"
	"net"
	"os"
)

// Notify tells the service manager, if there is one that wants to know, by lines such as
// "READY=1" (sd_notify(3)). Without one it does nothing.
func Notify(state string) error {
	path := os.Getenv("NOTIFY_SOCKET")
	if path == "" {
		return nil
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("service manager: %w", err)
	}
	defer conn.Close()
	if _, err := conn.Write([]byte(state)); err != nil {
		return fmt.Errorf("service manager: %w", err)
	}
	return nil
}
