package sysfs

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"syscall"
	"testing"
	"testing/fstest"
)

// tree is a made-up /sys: files that hold text, files that fail, and what happens on a write.
type tree struct {
	fstest.MapFS
	fails map[string]error
	wrote func(name string)
}

func (t tree) Open(name string) (fs.File, error) {
	if err, ok := t.fails[name]; ok {
		return nil, &fs.PathError{Op: "read", Path: name, Err: err}
	}
	return t.MapFS.Open(name)
}

func (t tree) ReadFile(name string) ([]byte, error) {
	if err, ok := t.fails[name]; ok {
		return nil, &fs.PathError{Op: "read", Path: name, Err: err}
	}
	return t.MapFS.ReadFile(name)
}

func (t tree) WriteFile(name string, _ []byte) error {
	if _, ok := t.MapFS[name]; !ok {
		return fs.ErrNotExist
	}
	if t.wrote != nil {
		t.wrote(name)
	}
	return nil
}

func files(pairs ...string) tree {
	t := tree{MapFS: fstest.MapFS{}, fails: map[string]error{}}
	for i := 0; i < len(pairs); i += 2 {
		t.MapFS[pairs[i]] = &fstest.MapFile{Data: []byte(pairs[i+1])}
	}
	return t
}

func (t tree) failing(name string, err error) tree {
	t.fails[name] = err
	t.MapFS[name] = &fstest.MapFile{}
	return t
}

func mustAddress(tb testing.TB, s string) Address {
	tb.Helper()
	a, err := ParseAddress(s)
	if err != nil {
		tb.Fatal(err)
	}
	return a
}

const (
	w1  = "bus/w1/devices/28-0316a2795bff/"
	iio = "bus/iio/devices/iio:device0/"
	hw  = "class/hwmon/hwmon0/"
)

// The scratchpad bytes are from memory; CRC and value are computed.
func TestRead_Values(t *testing.T) {
	for _, test := range []struct {
		name, address string
		tree          tree
		want          float64
		quantity      string
	}{
		{"w1 scratchpad", "w1:28-0316a2795bff", files(w1+"w1_slave", "98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n"), 25.5, "celsius"},
		{"w1 file temperature", "w1:28-0316a2795bff", files(w1+"temperature", "25500\n"), 25.5, "celsius"},
		{"w1 DS18S20 by the kernel's number", "w1:10-0008025eee44", files("bus/w1/devices/10-0008025eee44/w1_slave", "32 00 4b 46 ff ff 0c 10 77 : crc=77 YES\n32 00 4b 46 ff ff 0c 10 77 t=24750\n"), 24.75, "celsius"},
		{"converter chip", "iio:max31855/temp", files(iio+"name", "max31855\n", iio+"in_temp_raw", "428\n", iio+"in_temp_scale", "250\n", iio+"in_temp_ambient_raw", "377\n", iio+"in_temp_ambient_scale", "62.500000\n"), 107, "celsius"},
		{"processed value", "iio:device0/temp", files(iio+"name", "mlx\n", iio+"in_temp_input", "21500\n"), 21.5, "celsius"},
		{"analog converter", "iio:ads1115/voltage1", files(iio+"name", "ads1115\n", iio+"in_voltage1_raw", "16384\n", iio+"in_voltage1_scale", "0.125000000\n"), 2048, "millivolts"},
		{"shared scale and offset", "iio:mcp3008/voltage0", files(iio+"name", "mcp3008\n", iio+"in_voltage0_raw", "500\n", iio+"in_voltage_scale", "3.2\n", iio+"in_voltage_offset", "-10\n"), 1568, "millivolts"},
		{"differential", "iio:ads1115/voltage0-voltage1", files(iio+"name", "ads1115\n", iio+"in_voltage0-voltage1_raw", "-100\n", iio+"in_voltage-voltage_scale", "0.0625\n"), -6.25, "millivolts"},
		{"hwmon", "hwmon:sht3x/temp1", files(hw+"name", "sht3x\n", hw+"temp1_input", "4250\n"), 4.25, "celsius"},
		{"hwmon by number", "hwmon:hwmon0/temp1", files(hw+"name", "sht3x\n", hw+"temp1_input", "-4250\n", hw+"temp1_fault", "0\n"), -4.25, "celsius"},
	} {
		s, err := mustAddress(t, test.address).Read(test.tree)
		if err != nil || math.Abs(s.Value-test.want) > 1e-9 || string(s.Quantity) != test.quantity {
			t.Errorf("%s: Read = %+v, %v; want %v %s", test.name, s, err, test.want, test.quantity)
		}
		if test.name == "converter chip" && (s.Ambient == nil || *s.Ambient != 23.5625) {
			t.Errorf("cold junction = %v, want 23.5625", s.Ambient)
		}
	}
}

func TestRead_Faults(t *testing.T) {
	chip := func(name string) tree {
		return files(iio+"name", name+"\n", iio+"in_temp_scale", "250\n").failing(iio+"in_temp_raw", syscall.EINVAL)
	}
	reported := chip("max31856")
	reported.MapFS[iio+"fault_oc"] = &fstest.MapFile{Data: []byte("1\n")}
	rtd := files(iio+"name", "max31865\n", iio+"in_temp_raw", "32767\n", iio+"in_temp_scale", "31.25\n", iio+"fault_ovuv", "1\n")
	for _, test := range []struct {
		name, address string
		tree          tree
		want          Kind
	}{
		{"w1 wrong checksum said by the kernel", "w1:28-0316a2795bff", files(w1+"w1_slave", "98 01 4b 46 7f ff 08 10 23 : crc=22 NO\n98 01 4b 46 7f ff 08 10 23 t=25500\n"), Checksum},
		{"w1 wrong checksum that the kernel let through", "w1:28-0316a2795bff", files(w1+"w1_slave", "99 01 4b 46 7f ff 08 10 22 : crc=22 YES\n99 01 4b 46 7f ff 08 10 22 t=25562\n"), Checksum},
		{"w1 power-up", "w1:28-0316a2795bff", files(w1+"w1_slave", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"), PowerUp},
		{"w1 power-up without scratchpad", "w1:28-0316a2795bff", files(w1+"temperature", "85000\n"), PowerUp},
		{"w1 too little power", "w1:28-0316a2795bff", files(w1+"temperature", "127937\n"), LowPower},
		{"w1 bus shorted", "w1:28-0316a2795bff", files(w1+"w1_slave", "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"), Range},
		{"w1 busy", "w1:28-0316a2795bff", files(w1+"w1_slave", ""), NoValue},
		{"w1 nonsense", "w1:28-0316a2795bff", files(w1+"w1_slave", "hello"), NoValue},
		{"w1 unplugged", "w1:28-0316a2795bff", files(), Missing},
		{"w1 unplugged while read", "w1:28-0316a2795bff", files().failing(w1+"w1_slave", syscall.ENODEV), Missing},
		{"w1 no answer", "w1:28-0316a2795bff", files().failing(w1+"w1_slave", syscall.EIO), NoValue},
		{"couple open at a MAX6675", "iio:max6675/temp", chip("max6675"), Open},
		{"couple open or shorted at a MAX31855", "iio:max31855/temp", chip("max31855"), Broken},
		{"couple open, and the driver says so", "iio:max31856/temp", reported, Open},
		{"RTD shorted, and the driver says so", "iio:max31865/temp", rtd, Shorted},
		{"no driver", "iio:max31855/temp", files(), Missing},
		{"another chip", "iio:max31855/temp", chip("ads1115"), Missing},
		{"two of the same", "iio:x/temp", files(iio+"name", "x\n", "bus/iio/devices/iio:device1/name", "x\n"), Missing},
		{"not a number", "hwmon:sht3x/temp1", files(hw+"name", "sht3x\n", hw+"temp1_input", "nan\n"), NoValue},
		{"hwmon fault", "hwmon:sht3x/temp1", files(hw+"name", "sht3x\n", hw+"temp1_input", "0\n", hw+"temp1_fault", "1\n"), Open},
	} {
		s, err := mustAddress(t, test.address).Read(test.tree)
		var f *Fault
		if !errors.As(err, &f) || f.Kind != test.want {
			t.Errorf("%s: Read = %+v, %v; want the fault %q", test.name, s, err, test.want)
		}
	}
}

func TestRead_SensorThatAppearsLater(t *testing.T) {
	a, sys := mustAddress(t, "iio:max31855/temp"), files()
	if _, err := a.Read(sys); err == nil {
		t.Fatal("read without a device")
	}
	sys.MapFS[iio+"name"] = &fstest.MapFile{Data: []byte("max31855\n")}
	sys.MapFS[iio+"in_temp_raw"] = &fstest.MapFile{Data: []byte("428\n")}
	sys.MapFS[iio+"in_temp_scale"] = &fstest.MapFile{Data: []byte("250\n")}
	if s, err := a.Read(sys); err != nil || s.Value != 107 || s.Ambient != nil {
		t.Errorf("Read = %+v, %v; want 107", s, err)
	}
}

func TestConvert_WaitsForTheWholeBus(t *testing.T) {
	file := "bus/w1/devices/w1_bus_master1/therm_bulk_read"
	sys := files(file, "0\n")
	triggered := 0
	sys.wrote = func(string) {
		triggered++
		sys.MapFS[file] = &fstest.MapFile{Data: []byte("1\n")}
	}
	Convert(context.Background(), sys)
	Convert(context.Background(), files()) // no bus, no complaint
	if triggered != 1 {
		t.Errorf("triggered %d times", triggered)
	}
}

func TestList_NamesWhatIsWired(t *testing.T) {
	sys := files(w1+"w1_slave", "", "bus/w1/devices/w1_bus_master1/name", "x", "bus/w1/devices/3a-000000000001/name", "a switch",
		iio+"name", "ads1115\n", iio+"in_voltage0_raw", "1", iio+"in_voltage0_scale", "1", iio+"in_voltage1_raw", "1",
		"bus/iio/devices/iio:device1/name", "max31855\n", "bus/iio/devices/iio:device1/in_temp_raw", "1",
		"bus/iio/devices/iio:device2/name", "max31855\n", "bus/iio/devices/iio:device2/in_temp_raw", "1",
		hw+"name", "sht3x\n", hw+"temp1_input", "1", hw+"in0_input", "1")
	var got []string
	for _, a := range List(sys) {
		got = append(got, a.String())
	}
	want := []string{"w1:28-0316a2795bff", "iio:ads1115/voltage0", "iio:ads1115/voltage1", "iio:device1/temp", "iio:device2/temp", "hwmon:sht3x/temp1"}
	if !slices.Equal(got, want) {
		t.Errorf("List = %v, want %v", got, want)
	}
	if got := List(files()); len(got) != 0 {
		t.Errorf("List of an empty tree = %v", got)
	}
}

func TestBatteryAndLink(t *testing.T) {
	sys := files("class/power_supply/ac/type", "Mains\n", "class/power_supply/bat0/type", "Battery\n", "class/power_supply/bat0/capacity", "73\n")
	if v, ok := Battery(sys); !ok || v != 73 {
		t.Errorf("Battery = %v, %v", v, ok)
	}
	if _, ok := Battery(files()); ok {
		t.Error("a battery in an empty tree")
	}
	proc := files("net/wireless", "Inter-| sta-|   Quality        |   Discarded packets\n face | tus | link level noise |  nwid  crypt\n wlan0: 0000   54.  -56.  -256        0      0\n")
	if v, ok := Link(proc); !ok || v != -56 {
		t.Errorf("Link = %v, %v", v, ok)
	}
	if _, ok := Link(files()); ok {
		t.Error("a link in an empty tree")
	}
}

func FuzzRead(f *testing.F) {
	f.Add("98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n")
	f.Add("85000")
	f.Fuzz(func(t *testing.T, s string) {
		sys := files(w1+"w1_slave", s, "bus/w1/devices/28-01/temperature", s, iio+"name", "x", iio+"in_temp_raw", s, iio+"in_temp_scale", s, hw+"name", "x", hw+"temp1_input", s)
		for _, a := range []string{"w1:28-0316a2795bff", "w1:28-01", "iio:x/temp", "hwmon:x/temp1"} {
			v, err := mustAddress(t, a).Read(sys)
			if err == nil && (math.IsNaN(v.Value) || math.IsInf(v.Value, 0)) {
				t.Errorf("%s of %q = %v", a, s, v.Value)
			}
		}
	})
}

func ExampleParseAddress() {
	_, err := ParseAddress("ds18b20")
	fmt.Println(err)
	// Output: device "ds18b20": write it like w1:28-0316a2795bff, iio:max31855/temp, iio:ads1115/voltage0 or hwmon:sht3x/temp1; --list shows what is wired
}
