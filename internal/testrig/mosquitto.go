package testrig

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Mosquitto is Debian's broker as a child process; it ends with the test.
type Mosquitto struct {
	Addr string // host:port
	tb   testing.TB
	conf string
	cmd  *exec.Cmd
}

// NewMosquitto writes the configuration that the README asks for, plus further lines; without such lines anyone may connect.
func NewMosquitto(tb testing.TB, more ...string) *Mosquitto {
	tb.Helper()
	Program(tb, "mosquitto")
	m := &Mosquitto{Addr: FreeAddr(tb), tb: tb, conf: filepath.Join(tb.TempDir(), "mosquitto.conf")}
	_, port, err := net.SplitHostPort(m.Addr)
	if err != nil {
		tb.Fatal(err)
	}
	lines := append([]string{"listener " + port + " 127.0.0.1", "max_queued_messages 100000", "max_inflight_messages 1000"}, more...)
	if len(more) == 0 {
		lines = append(lines, "allow_anonymous true")
	}
	if err := os.WriteFile(m.conf, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(m.Stop)
	return m
}

// StartMosquitto is NewMosquitto and Start.
func StartMosquitto(tb testing.TB, more ...string) *Mosquitto {
	tb.Helper()
	m := NewMosquitto(tb, more...)
	m.Start()
	return m
}

// URL is where clients connect.
func (m *Mosquitto) URL() string { return "mqtt://" + m.Addr }

// Start starts the broker and waits until it listens.
func (m *Mosquitto) Start() {
	m.tb.Helper()
	m.cmd = exec.Command(Program(m.tb, "mosquitto"), "-c", m.conf)
	if err := m.cmd.Start(); err != nil {
		m.tb.Fatal(err)
	}
	AwaitPort(m.tb, m.Addr)
}

// Stop kills the broker, as a power cut would.
func (m *Mosquitto) Stop() {
	if m.cmd == nil {
		return
	}
	if err := m.cmd.Process.Kill(); err != nil {
		m.tb.Error(err)
	}
	_ = m.cmd.Wait() // killed: its status says so
	m.cmd = nil
}

// FreeAddr is an address on loopback at which nothing listens.
func FreeAddr(tb testing.TB) string {
	tb.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// AwaitPort waits until something listens on an address.
func AwaitPort(tb testing.TB, addr string) {
	tb.Helper()
	for range 1000 {
		if c, err := net.Dial("tcp", addr); err == nil {
			_ = c.Close() // it listens: that was the question
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	tb.Fatalf("nothing listens on %s", addr)
}
