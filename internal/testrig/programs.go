// Package testrig gives tests the real things they stand beside: programs of the system, packages of npm, Debian's MQTT
// broker, a certificate, the golden files. A program that is missing skips the test, and fails it where STALLKEEPER_REQUIRE is set, as in CI. Only tests
// import it.
package testrig

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Program finds the first of the programs that is installed.
func Program(tb testing.TB, names ...string) string {
	tb.Helper()
	for _, name := range names {
		for _, path := range []string{name, "/usr/sbin/" + name} { // not in the PATH of ordinary users on Debian
			if found, err := exec.LookPath(path); err == nil {
				return found
			}
		}
	}
	missing(tb, "%s is not installed", strings.Join(names, " or "))
	return ""
}

// NodePackages has npm install what the lock file in dir names, unless it was done before. Of two
// test programs that want the same folder, one waits for the other.
func NodePackages(tb testing.TB, dir string) {
	tb.Helper()
	turn, err := os.Open(filepath.Join(dir, "package-lock.json"))
	if err != nil {
		tb.Fatal(err)
	}
	defer turn.Close() // which also ends the lock
	if err := syscall.Flock(int(turn.Fd()), syscall.LOCK_EX); err != nil {
		tb.Fatal(err)
	}
	done := filepath.Join(dir, "node_modules", ".installed") // npm may be killed in the middle of it
	if _, err := os.Stat(done); err == nil {
		return
	}
	install := exec.CommandContext(tb.Context(), Program(tb, "npm"), "ci", "--no-audit", "--no-fund")
	install.Dir = dir
	if out, err := install.CombinedOutput(); err != nil {
		missing(tb, "npm ci in %s: %v\n%s", dir, err, out)
	}
	if err := os.WriteFile(done, nil, 0o600); err != nil {
		tb.Fatal(err)
	}
}

func missing(tb testing.TB, format string, args ...any) {
	tb.Helper()
	if os.Getenv("STALLKEEPER_REQUIRE") != "" {
		tb.Fatalf(format+": install it, or unset STALLKEEPER_REQUIRE", args...)
	}
	tb.Skipf(format, args...)
}
