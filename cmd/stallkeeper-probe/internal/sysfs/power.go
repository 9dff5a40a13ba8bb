package sysfs

import (
	"io/fs"
	"path"
	"strconv"
	"strings"
)

// Battery is the charge of the board's battery in percent; ok is false where there is none or it cannot be read.
func Battery(t fs.FS) (percent float64, ok bool) {
	const folder = "class/power_supply"
	for _, name := range names(t, folder) {
		if kind, err := text(t, path.Join(folder, name, "type")); err != nil || kind != "Battery" {
			continue
		}
		if v, err := number(t, path.Join(folder, name, "capacity")); err == nil && v >= 0 && v <= 100 {
			return v, true
		}
	}
	return 0, false
}

// Link is the signal level of the first wireless interface in dBm, from net/wireless of a tree like /proc.
func Link(proc fs.FS) (dBm float64, ok bool) {
	s, err := text(proc, "net/wireless")
	if err != nil {
		return 0, false
	}
	for line := range strings.SplitSeq(s, "\n") {
		fields := strings.Fields(line) // wlan0: 0000 54. -56. -256 …
		if len(fields) < 4 || !strings.HasSuffix(fields[0], ":") {
			continue
		}
		if v, err := strconv.ParseFloat(strings.TrimSuffix(fields[3], "."), 64); err == nil && v < 0 {
			return v, true
		}
	}
	return 0, false
}
