package daemon

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"time"
)

// sdNotify tells systemd a state by the datagram of sd_notify(3); without NOTIFY_SOCKET it does nothing.
func sdNotify(state string) error {
	path := os.Getenv("NOTIFY_SOCKET")
	if path == "" {
		return nil
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("notify systemd: %w", err)
	}
	defer conn.Close()
	if _, err := conn.Write([]byte(state)); err != nil {
		return fmt.Errorf("notify systemd: %w", err)
	}
	return nil
}

// watchdogEvery is half the interval in which systemd wants to hear from the daemon; 0 when it does not ask.
func watchdogEvery() time.Duration {
	micros, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if err != nil || micros <= 0 {
		return 0
	}
	return time.Duration(micros) * time.Microsecond / 2
}
