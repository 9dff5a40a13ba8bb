package sysfs

import (
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Address names a sensor, see the package comment.
type Address struct {
	bus, device, channel string
}

var addressForm = regexp.MustCompile(`^(w1):([0-9a-f]{2}-[0-9a-f]{1,16})$|^(iio):([^/\s]+)/((?:temp|voltage)[0-9]*(?:-voltage[0-9]+)?)$|^(hwmon):([^/\s]+)/(temp[0-9]+)$`)

// ParseAddress reads an address.
func ParseAddress(s string) (Address, error) {
	m := addressForm.FindStringSubmatch(s)
	switch {
	case m == nil:
		return Address{}, fmt.Errorf("device %q: write it like w1:28-0316a2795bff, iio:max31855/temp, iio:ads1115/voltage0 or hwmon:sht3x/temp1; --list shows what is wired", s)
	case m[1] != "":
		return Address{bus: m[1], device: m[2]}, nil
	case m[3] != "":
		return Address{bus: m[3], device: m[4], channel: m[5]}, nil
	}
	return Address{bus: m[6], device: m[7], channel: m[8]}, nil
}

// String is the address as --list prints it and a [[probe]] names it.
func (a Address) String() string {
	if a.bus == "w1" {
		return "w1:" + a.device
	}
	return a.bus + ":" + a.device + "/" + a.channel
}

// Voltage reports whether the sensor gives a voltage, which needs a conversion.
func (a Address) Voltage() bool { return strings.HasPrefix(a.channel, "voltage") }

// Oversampling is how many samples make a reading where nothing else is set, and the least time between two of them.
// A 1-wire sensor filters by itself and takes 750 ms; converter chips need up to 220 ms for a new value (their data
// sheets); the rest is common practice, no source.
func (a Address) Oversampling() (samples int, gap time.Duration) {
	switch {
	case a.bus == "w1":
		return 1, 0
	case a.Voltage():
		return 9, 20 * time.Millisecond
	case a.bus == "iio":
		return 5, 250 * time.Millisecond
	}
	return 3, 100 * time.Millisecond
}

// Read takes one sample. It may block as long as the driver does: up to 750 ms on the 1-wire bus.
func (a Address) Read(t fs.FS) (Sample, error) {
	switch a.bus {
	case "w1":
		return readW1(t, a.device)
	case "iio":
		return readIIO(t, a.device, a.channel)
	}
	return readHwmon(t, a.device, a.channel)
}

// List gives the addresses of all sensors that are wired here, whether they work or not. It reads no values.
func List(t fs.FS) []Address {
	var out []Address
	for _, name := range names(t, w1Devices) {
		if a, err := ParseAddress("w1:" + name); err == nil && isThermometer(name) {
			out = append(out, a)
		}
	}
	out = append(out, listChannels(t, "iio", iioDevices, "iio:", func(file string) string {
		for _, suffix := range []string{"_raw", "_input"} {
			if c, ok := strings.CutSuffix(file, suffix); ok {
				return strings.TrimPrefix(c, "in_")
			}
		}
		return ""
	})...)
	return append(out, listChannels(t, "hwmon", hwmonDevices, "", func(file string) string {
		c, _ := strings.CutSuffix(file, "_input")
		return c
	})...)
}

func listChannels(t fs.FS, bus, folder, prefix string, channel func(file string) string) []Address {
	var out []Address
	seen := map[string]int{}
	entries := names(t, folder)
	title := func(e string) string {
		name, err := text(t, path.Join(folder, e, "name"))
		if err != nil {
			return ""
		}
		return name
	}
	for _, e := range entries {
		seen[title(e)]++
	}
	for _, e := range entries {
		device := title(e)
		if device == "" || seen[device] > 1 {
			device = strings.TrimPrefix(e, prefix)
		}
		var channels []string
		for _, file := range names(t, path.Join(folder, e)) {
			c := channel(file)
			if a, err := ParseAddress(bus + ":" + device + "/" + c); err == nil && !slices.Contains(channels, c) {
				channels = append(channels, c)
				out = append(out, a)
			}
		}
	}
	return out
}

func names(t fs.FS, folder string) []string {
	entries, err := fs.ReadDir(t, folder)
	if err != nil {
		return nil // no such driver here
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}
