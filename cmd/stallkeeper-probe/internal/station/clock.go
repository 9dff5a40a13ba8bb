package station

import (
	"io/fs"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// clock is what the board knows about the time at one moment. Small boards without a battery boot in the past; until
// their clock is set, readings are timed by the time since boot.
type clock struct {
	now    time.Time
	set    bool
	uptime float64 // s since boot
	boot   string  // identity of this boot; empty where the kernel does not tell
}

// notBefore is earlier than any true reading of this program: a clock that shows less is not set.
var notBefore = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// readClock looks at the kernel's files and, for mode "ntp", at its flag for a synchronised clock.
func readClock(proc fs.FS, mode string, now time.Time, synchronised func() bool) clock {
	c := clock{now: now, set: now.After(notBefore) && (mode != "ntp" || synchronised())}
	if data, err := fs.ReadFile(proc, "uptime"); err == nil {
		if fields := strings.Fields(string(data)); len(fields) > 0 {
			if v, err := strconv.ParseFloat(fields[0], 64); err == nil {
				c.uptime = v
			}
		}
	}
	if data, err := fs.ReadFile(proc, "sys/kernel/random/boot_id"); err == nil && c.uptime > 0 {
		c.boot = strings.TrimSpace(string(data))
	}
	return c
}

// Synchronised reports whether the kernel considers its clock synchronised (adjtimex, STA_UNSYNC).
func Synchronised() bool {
	const unsynchronised = 0x40
	var t syscall.Timex
	_, err := syscall.Adjtimex(&t)
	return err == nil && t.Status&unsynchronised == 0
}
