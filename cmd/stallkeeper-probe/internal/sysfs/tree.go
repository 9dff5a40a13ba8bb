package sysfs

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"stallkeeper/internal/convert"
)

// Tree is a file tree like /sys. Writing is needed only to start a conversion on all sensors of a 1-wire bus at once.
type Tree interface {
	fs.FS
	WriteFile(name string, data []byte) error
}

// Dir is a tree on disk.
func Dir(root string) Tree { return dir{os.DirFS(root), root} }

type dir struct {
	fs.FS
	root string
}

// WriteFile writes to a file that is there; it creates none.
func (d dir) WriteFile(name string, data []byte) error {
	f, err := os.OpenFile(filepath.Join(d.root, filepath.FromSlash(name)), os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// Kind is what is wrong with a sensor, in one word.
type Kind string

// The kinds of fault.
const (
	Missing  Kind = "missing"  // not there, or no longer
	Open     Kind = "open"     // thermocouple or resistor not connected
	Shorted  Kind = "shorted"  // … or touching what it should not
	Broken   Kind = "fault"    // the driver reports a fault and does not say which
	Checksum Kind = "checksum" // the transfer was disturbed
	PowerUp  Kind = "power-up" // the value before the first conversion
	LowPower Kind = "low-power"
	NoValue  Kind = "no-value" // busy, no answer, or nothing that can be read
	Slow     Kind = "slow"     // the driver has not come back yet
	Range    Kind = "range"    // outside what the sensor or its conversion can be
)

// Fault says what is wrong with a sensor and what to do.
type Fault struct {
	Kind Kind
	Err  error
}

func (f *Fault) Error() string { return f.Err.Error() }
func (f *Fault) Unwrap() error { return f.Err }

func fault(kind Kind, format string, a ...any) *Fault { return &Fault{kind, fmt.Errorf(format, a...)} }

// Sample is one value of a sensor, in degrees or to be converted.
type Sample struct {
	Quantity convert.Quantity // Celsius, or a quantity of package convert
	Value    float64
	Ambient  *float64 // cold junction of a converter chip in Celsius; nil where the driver has none
}

// Celsius marks a sample that is in degrees already.
const Celsius convert.Quantity = "celsius"

// text reads a small attribute file.
func text(t fs.FS, name string) (string, error) {
	data, err := fs.ReadFile(t, name)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENXIO):
		return "", fault(Missing, "%s is not there: check wiring and plug, and that the driver is loaded", name)
	case errors.Is(err, syscall.EIO), errors.Is(err, syscall.ETIMEDOUT), errors.Is(err, syscall.EAGAIN), errors.Is(err, syscall.EBUSY):
		return "", fault(NoValue, "no answer from the sensor (%w): check wiring and pull-up", err)
	case errors.Is(err, fs.ErrPermission):
		return "", fault(NoValue, "%w: run as a user who may read it", err)
	case err != nil:
		return "", &Fault{Broken, err}
	}
	return strings.TrimSpace(string(data)), nil
}

// number reads an attribute that holds one number.
func number(t fs.FS, name string) (float64, error) {
	s, err := text(t, name)
	if err != nil {
		return 0, err
	}
	if s == "" {
		return 0, fault(NoValue, "%s is empty: the sensor is busy or does not answer", name)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fault(NoValue, "%s holds %.20q and not a number", name, s)
	}
	return v, nil
}

// optional reads a number that a driver may not have.
func optional(t fs.FS, name string, otherwise float64) (float64, error) {
	v, err := number(t, name)
	var f *Fault
	if errors.As(err, &f) && f.Kind == Missing {
		return otherwise, nil
	}
	return v, err
}

// find gives the one entry of a class folder whose own name or name file is the wanted one.
func find(t fs.FS, folder, prefix, want string) (string, error) {
	entries, err := fs.ReadDir(t, folder)
	if err != nil {
		return "", fault(Missing, "/sys/%s is not there: load the driver of the sensor", folder)
	}
	var found []string
	for _, e := range entries {
		if strings.TrimPrefix(e.Name(), prefix) == want || e.Name() == want {
			return path.Join(folder, e.Name()), nil
		}
		if name, err := text(t, path.Join(folder, e.Name(), "name")); err == nil && name == want {
			found = append(found, e.Name())
		}
	}
	switch len(found) {
	case 0:
		return "", fault(Missing, "no device %q in /sys/%s: check wiring, and --list for what is there", want, folder)
	case 1:
		return path.Join(folder, found[0]), nil
	}
	return "", fault(Missing, "%d devices are called %q: name one of %s", len(found), want, strings.Join(found, ", "))
}
