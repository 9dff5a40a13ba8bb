package daemon

import (
	"net"
	"path/filepath"
	"testing"
	"time"
)

// The datagram of sd_notify(3): plain text to the socket named in NOTIFY_SOCKET.
func TestSdNotify_ReachesTheSocket(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	if err := sdNotify("READY=1"); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 100)
	n, err := l.Read(buf)
	if err != nil || string(buf[:n]) != "READY=1" {
		t.Errorf("got %q, %v", buf[:n], err)
	}
}

func TestWatchdogEvery_IsHalfOfWhatIsAsked(t *testing.T) {
	t.Setenv("WATCHDOG_USEC", "60000000")
	if got := watchdogEvery(); got != 30*time.Second {
		t.Errorf("%v, want 30s", got)
	}
	t.Setenv("WATCHDOG_USEC", "")
	if got := watchdogEvery(); got != 0 {
		t.Errorf("%v without a watchdog, want 0", got)
	}
}
