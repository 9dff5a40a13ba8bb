package sysfs

import (
	"io/fs"
	"path"
)

const hwmonDevices = "class/hwmon"

// readHwmon reads an input in thousandths of a degree, after its fault file if it has one.
func readHwmon(t fs.FS, device, channel string) (Sample, error) {
	folder, err := find(t, hwmonDevices, "", device)
	if err != nil {
		return Sample{}, err
	}
	failed, err := optional(t, path.Join(folder, channel+"_fault"), 0)
	if err != nil {
		return Sample{}, err
	}
	if failed != 0 {
		return Sample{}, fault(Open, "the driver reports a sensor fault: check that it is connected")
	}
	milli, err := number(t, path.Join(folder, channel+"_input"))
	if err != nil {
		return Sample{}, err
	}
	return Sample{Quantity: Celsius, Value: milli / 1000}, nil
}
