package sysfs

import (
	"errors"
	"io/fs"
	"math"
	"path"
	"strings"
	"syscall"
)

const iioDevices = "bus/iio/devices"

// readIIO reads a channel: (raw + offset) × scale is millivolts of a voltage and thousandths of a degree of a
// temperature; some drivers give the product as input.
func readIIO(t fs.FS, device, channel string) (Sample, error) {
	folder, err := find(t, iioDevices, "iio:", device)
	if err != nil {
		return Sample{}, err
	}
	milli, err := readChannel(t, folder, channel)
	if err != nil {
		return Sample{}, thermocoupleFault(t, folder, channel, err)
	}
	if strings.HasPrefix(channel, "voltage") {
		return Sample{Quantity: "millivolts", Value: milli}, nil
	}
	if err := reportedFault(t, folder); err != nil {
		return Sample{}, err
	}
	s := Sample{Quantity: Celsius, Value: milli / 1000}
	ambient, err := readChannel(t, folder, "temp_ambient")
	var f *Fault
	switch {
	case errors.As(err, &f) && f.Kind == Missing: // this chip has none
	case err != nil:
		return Sample{}, err
	default:
		ambient /= 1000
		s.Ambient = &ambient
	}
	return s, nil
}

func readChannel(t fs.FS, folder, channel string) (float64, error) {
	base := path.Join(folder, "in_"+channel)
	if v, err := number(t, base+"_input"); err == nil {
		return v, nil
	}
	raw, err := number(t, base+"_raw")
	if err != nil {
		return 0, err
	}
	scale, err := shared(t, folder, channel, "_scale", 1)
	if err != nil {
		return 0, err
	}
	offset, err := shared(t, folder, channel, "_offset", 0)
	if err != nil {
		return 0, err
	}
	v := (raw + offset) * scale
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fault(NoValue, "%s: raw %g, offset %g and scale %g make no number", base, raw, offset, scale)
	}
	return v, nil
}

// shared reads an attribute of the channel, or of all channels of its type.
func shared(t fs.FS, folder, channel, suffix string, otherwise float64) (float64, error) {
	var f *Fault
	v, err := number(t, path.Join(folder, "in_"+channel+suffix))
	if !errors.As(err, &f) || f.Kind != Missing {
		return v, err
	}
	parts := strings.Split(channel, "-")
	for i, p := range parts {
		parts[i] = strings.TrimRight(p, "0123456789")
	}
	return optional(t, path.Join(folder, "in_"+strings.Join(parts, "-")+suffix), otherwise)
}

// thermocoupleFault says what a refused read of a converter chip means: the drivers answer EINVAL when the chip's fault
// bit is set, and some have the reason in files of their own.
func thermocoupleFault(t fs.FS, folder, channel string, err error) error {
	if !errors.Is(err, syscall.EINVAL) || !strings.HasPrefix(channel, "temp") {
		return err
	}
	if reported := reportedFault(t, folder); reported != nil {
		return reported
	}
	if name, nameErr := text(t, path.Join(folder, "name")); nameErr == nil && name == "max6675" {
		return fault(Open, "thermocouple open: check that it is plugged in and not broken")
	}
	return fault(Broken, "thermocouple open or shorted, the driver does not say which: check plug and insulation")
}

// reportedFault reads the fault files of the drivers that have them.
func reportedFault(t fs.FS, folder string) error {
	for _, f := range []struct {
		file string
		kind Kind
		text string
	}{
		{"fault_oc", Open, "open: check that it is plugged in and not broken"},
		{"fault_ovuv", Shorted, "shorted, or its voltage is outside the chip's range: check insulation and wiring"},
	} {
		v, err := optional(t, path.Join(folder, f.file), 0)
		if err != nil {
			return err
		}
		if v != 0 {
			return fault(f.kind, "sensor %s", f.text)
		}
	}
	return nil
}
