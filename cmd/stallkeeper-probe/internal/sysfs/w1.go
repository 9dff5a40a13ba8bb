package sysfs

import (
	"context"
	"encoding/hex"
	"errors"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/convert"
)

const w1Devices = "bus/w1/devices"

// isThermometer goes by the family code: DS18S20, DS1822, DS18B20, DS1825, DS28EA00.
func isThermometer(id string) bool {
	return slices.Contains([]string{"10", "22", "28", "3b", "42"}, strings.Split(id, "-")[0])
}

// readW1 reads w1_slave, which has the whole scratchpad with its checksum:
//
//	98 01 4b 46 7f ff 08 10 22 : crc=22 YES
//	98 01 4b 46 7f ff 08 10 22 t=25500
//
// and the file temperature, in thousandths of a degree, where there is no w1_slave.
func readW1(t fs.FS, id string) (Sample, error) {
	folder := path.Join(w1Devices, id)
	s, err := text(t, path.Join(folder, "w1_slave"))
	var f *Fault
	if errors.As(err, &f) && f.Kind == Missing {
		milli, err := number(t, path.Join(folder, "temperature"))
		if err != nil {
			return Sample{}, err
		}
		return judgeW1(milli)
	}
	if err != nil {
		return Sample{}, err
	}
	if s == "" {
		return Sample{}, fault(NoValue, "%s/w1_slave is empty: the sensor is busy or does not answer", folder)
	}
	first, second, ok := strings.Cut(s, "\n")
	i := strings.LastIndex(second, "t=")
	if !ok || i < 0 {
		return Sample{}, fault(NoValue, "%s/w1_slave holds %.40q, which is not a w1_therm answer", folder, s)
	}
	if !strings.HasSuffix(strings.TrimSpace(first), "YES") {
		return Sample{}, &Fault{Checksum, convert.ErrCRC}
	}
	// The DS18S20 (family 10) counts differently; the kernel has done it.
	if head, _, ok := strings.Cut(first, ":"); ok && !strings.HasPrefix(id, "10-") {
		if b, err := hex.DecodeString(strings.ReplaceAll(head, " ", "")); err == nil && len(b) == 9 {
			return scratchpad([9]byte(b))
		}
	}
	milli, err := strconv.ParseFloat(strings.TrimSpace(second[i+2:]), 64)
	if err != nil {
		return Sample{}, fault(NoValue, "%s/w1_slave holds %.40q, which is not a w1_therm answer", folder, s)
	}
	return judgeW1(milli)
}

func scratchpad(b [9]byte) (Sample, error) {
	c, err := convert.DS18B20Scratchpad(b)
	switch {
	case errors.Is(err, convert.ErrCRC):
		return Sample{}, &Fault{Checksum, err}
	case errors.Is(err, convert.ErrPowerUp):
		return Sample{}, &Fault{PowerUp, err}
	case errors.Is(err, convert.ErrLowPower):
		return Sample{}, &Fault{LowPower, err}
	case err != nil:
		return Sample{}, &Fault{Range, err}
	}
	return Sample{Quantity: Celsius, Value: float64(c)}, nil
}

// judgeW1 has no scratchpad to look into: 85.000 °C is refused, though it may be true once in a while.
func judgeW1(milli float64) (Sample, error) {
	switch {
	case milli == 85000:
		return Sample{}, &Fault{PowerUp, convert.ErrPowerUp}
	case milli >= 127900 && milli < 128000:
		return Sample{}, &Fault{LowPower, convert.ErrLowPower}
	case milli < -55000 || milli > 125000:
		return Sample{}, fault(Range, "%.3f °C is outside -55 … 125 °C of the sensor: check the wiring", milli/1000)
	}
	return Sample{Quantity: Celsius, Value: milli / 1000}, nil
}

// Convert starts a conversion on all sensors of each 1-wire bus at once and waits for it, at most a second and a half.
// Without it each sensor takes 750 ms of its own when it is read. Kernels and permissions that do not know it lose only
// this time, so nothing is reported.
func Convert(ctx context.Context, t Tree) {
	for _, name := range names(t, w1Devices) {
		if !strings.HasPrefix(name, "w1_bus_master") {
			continue
		}
		file := path.Join(w1Devices, name, "therm_bulk_read")
		if t.WriteFile(file, []byte("trigger\n")) != nil {
			continue
		}
		for range 30 { // -1 while converting
			if v, err := number(t, file); err != nil || v >= 0 {
				break
			}
			select {
			case <-ctx.Done():
				return
			case <-time.After(50 * time.Millisecond):
			}
		}
	}
}
