package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"stallkeeper/cmd/stallkeeper-probe/internal/station"
)

// wired makes a small /sys on disk: a 1-wire sensor, a converter chip without its couple, and nothing else.
func wired(t *testing.T) (sys string) {
	t.Helper()
	sys = t.TempDir()
	for name, text := range map[string]string{
		"bus/w1/devices/28-0316a2795bff/w1_slave": "98 01 4b 46 7f ff 08 10 22 : crc=22 YES\n98 01 4b 46 7f ff 08 10 22 t=25500\n",
		"class/hwmon/hwmon0/name":                 "sht3x\n",
		"class/hwmon/hwmon0/temp1_input":          "4000\n",
		"class/hwmon/hwmon0/temp2_input":          "0\n",
		"class/hwmon/hwmon0/temp2_fault":          "1\n",
	} {
		path := filepath.Join(sys, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return sys
}

func writeConfig(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "probe.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRun(t *testing.T) {
	sys := wired(t)
	good := "[[probe]]\nname = \"core\"\ndevice = \"w1:28-0316a2795bff\"\n"
	faulty := good + "[[probe]]\nname = \"fridge\"\ndevice = \"hwmon:sht3x/temp2\"\n"
	away := "[mqtt]\nurl = \"mqtt://127.0.0.1:1\"\n[backlog]\nfolder = \"" + t.TempDir() + "\"\n" + good
	for _, test := range []struct {
		name   string
		args   []string
		code   int
		out    string
		errOut string
	}{
		{"list", []string{"--list", "--sysfs", sys}, 0, `(?s)^w1:28-0316a2795bff +25\.500 °C\nhwmon:sht3x/temp1 +4\.000 °C\nhwmon:sht3x/temp2 +open: `, `^$`},
		{"list of nothing", []string{"--list", "--sysfs", t.TempDir()}, 0, `^no sensor found: enable`, `^$`},
		{"dry run", []string{"--once", "--dry-run", "--sysfs", sys, "--config", writeConfig(t, good)}, 0,
			`^stallkeeper/reading/core \{"celsius":25\.5,"time":"20.*Z","seq":1,"quality":"good","samples":1\}\n$`, `^$`},
		{"a fault is a finding", []string{"--once", "--dry-run", "--sysfs", sys, "--config", writeConfig(t, faulty)}, 1,
			`fridge no value \(open\)`, `^stallkeeper-probe: probe fridge: the driver reports a sensor fault`},
		{"help", []string{"--help"}, 0, `--dry-run`, `^$`},
		{"no config", nil, 2, `^$`, `no --config given`},
		{"config that is not there", []string{"--config", "/nowhere"}, 2, `^$`, `^stallkeeper-probe: read config`},
		{"no probe", []string{"--config", writeConfig(t, "")}, 2, `^$`, `--list shows what is wired`},
		{"typing mistake", []string{"--config", writeConfig(t, "intervall = \"5s\"\n"+good)}, 2, `^$`, `unknown key "intervall"`},
		{"two mistakes in one line", []string{"--config", writeConfig(t, "interval = \"1ms\"\n[[probe]]\nname = \"a+\"\ndevice = \"x\"\n")}, 2, `^$`, `interval 1ms.*probe name.*device "x"`},
		{"voltage without conversion", []string{"--config", writeConfig(t, "[[probe]]\nname = \"a\"\ndevice = \"iio:ads1115/voltage0\"\n")}, 2, `^$`, `say in \[probe.convert\]`},
		{"broker away", []string{"--once", "--wait", "300ms", "--sysfs", sys, "--config", writeConfig(t, away)}, 1, `^$`, `did not take 1 readings within .*: they wait in`},
	} {
		t.Run(test.name, func(t *testing.T) {
			var out, errOut bytes.Buffer
			if code := run(context.Background(), test.args, &out, &errOut); code != test.code {
				t.Errorf("exit status %d, want %d", code, test.code)
			}
			if !regexp.MustCompile(test.out).Match(out.Bytes()) {
				t.Errorf("stdout %q does not match %s", &out, test.out)
			}
			if !regexp.MustCompile(test.errOut).Match(errOut.Bytes()) {
				t.Errorf("stderr %q does not match %s", &errOut, test.errOut)
			}
		})
	}
}

// The example file has every key with its default, and its examples are valid.
func TestSampleConfig(t *testing.T) {
	data, err := os.ReadFile("../../configs/stallkeeper-probe.toml")
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for line := range strings.Lines(string(data)) {
		if strings.HasPrefix(line, "#") && !strings.HasPrefix(line, "# ") && !strings.Contains(line, "<") {
			line = line[1:]
		}
		lines = append(lines, line)
	}
	got, err := station.ParseConfig(strings.Join(lines, ""), "shed")
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Probes) != 3 {
		t.Errorf("%d probes, want the three examples", len(got.Probes))
	}
	want := station.DefaultConfig("shed")
	want.MQTT.ClientID, want.Probes, got.Probes = "stallkeeper-probe-shed", nil, nil
	if got.MQTT != want.MQTT || got.Backlog != want.Backlog || got.Interval != want.Interval || got.StatusInterval != want.StatusInterval ||
		got.Clock != want.Clock || got.Sysfs != want.Sysfs || got.Proc != want.Proc {
		t.Errorf("the example has %+v, the defaults are %+v", got, want)
	}
}
