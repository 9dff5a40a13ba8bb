package station

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stallkeeper/cmd/stallkeeper-probe/internal/sysfs"
	"stallkeeper/internal/convert"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/strict"
)

// Config is everything that can be set.
type Config struct {
	Name           string        `toml:"name"`
	Interval       time.Duration `toml:"interval"`
	StatusInterval time.Duration `toml:"status_interval"`
	Clock          string        `toml:"clock"`
	Sysfs          string        `toml:"sysfs"`
	Proc           string        `toml:"proc"`
	MQTT           MQTT          `toml:"mqtt"`
	Backlog        Backlog       `toml:"backlog"`
	Probes         []Probe       `toml:"probe"`
}

// MQTT says where readings go.
type MQTT struct {
	URL          string `toml:"url"`
	ClientID     string `toml:"client_id"`
	Username     string `toml:"username"`
	PasswordFile string `toml:"password_file"`
	CAFile       string `toml:"ca_file"`
	ReadingTopic string `toml:"reading_topic"`
	StatusTopic  string `toml:"status_topic"`
}

// Backlog bounds what is kept while the broker is away.
type Backlog struct {
	Folder          string        `toml:"folder"`
	Readings        int           `toml:"readings"`
	Spill           time.Duration `toml:"spill"`
	ResendPerSecond int           `toml:"resend_per_second"`
}

// Probe is one sensor.
type Probe struct {
	Name    cook.ProbeID  `toml:"name"`
	Device  string        `toml:"device"`
	Samples int           `toml:"samples"`
	Gap     time.Duration `toml:"gap"`
	Convert *convert.Spec `toml:"convert"`
}

// DefaultConfig is the configuration of an empty file; host names the board.
func DefaultConfig(host string) Config {
	return Config{
		Name: host, Interval: 10 * time.Second, StatusInterval: 5 * time.Minute, Clock: "board", Sysfs: "/sys", Proc: "/proc",
		MQTT:    MQTT{URL: "mqtt://127.0.0.1:1883", ReadingTopic: "stallkeeper/reading/", StatusTopic: "stallkeeper/probe/"},
		Backlog: Backlog{Folder: "stallkeeper-probe-data", Readings: 20000, Spill: 10 * time.Second, ResendPerSecond: 100},
	}
}

// LoadConfig reads a file over the defaults. The error lists every mistake.
func LoadConfig(path, host string) (Config, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Config{}, fmt.Errorf("read config: %w", err)
	}
	c, err := ParseConfig(string(data), host)
	if err != nil {
		return Config{}, fmt.Errorf("config %s: %w", path, err)
	}
	return c, nil
}

// ParseConfig decodes a configuration over the defaults.
func ParseConfig(text, host string) (Config, error) {
	c := DefaultConfig(host)
	if err := strict.Decode(text, &c, "configs/stallkeeper-probe.toml"); err != nil {
		return Config{}, err
	}
	if c.MQTT.ClientID == "" {
		c.MQTT.ClientID = "stallkeeper-probe-" + c.Name
	}
	return c, c.Validate()
}

// Validate reports everything that is wrong, keys named.
func (c *Config) Validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if c.Name == "" || strings.ContainsAny(c.Name, "+#/ ") {
		add("name %q: give the board a name without spaces, / + #", c.Name)
	}
	if c.Interval < time.Second || c.Interval > time.Hour {
		add("interval %v is not between 1s and 1h", c.Interval)
	}
	if c.StatusInterval < 10*time.Second {
		add("status_interval %v is below 10s", c.StatusInterval)
	}
	if c.Clock != "board" && c.Clock != "ntp" {
		add("clock %q is not board or ntp", c.Clock)
	}
	if u, err := url.Parse(c.MQTT.URL); err != nil || u.Host == "" || !slices.Contains([]string{"mqtt", "mqtts"}, u.Scheme) {
		add("mqtt.url %q is not like mqtt://host:1883 or mqtts://host:8883", c.MQTT.URL)
	} else if u.User != nil {
		add("mqtt.url holds a password: use mqtt.username and mqtt.password_file")
	}
	for key, topic := range map[string]string{"mqtt.reading_topic": c.MQTT.ReadingTopic, "mqtt.status_topic": c.MQTT.StatusTopic} {
		if !strings.HasSuffix(topic, "/") || strings.ContainsAny(topic, "+#$") {
			add("%s %q: give a prefix that ends with / and has no + # $", key, topic)
		}
	}
	if c.Backlog.Readings < 100 || c.Backlog.Readings > 1e6 {
		add("backlog.readings %d is not between 100 and 1000000", c.Backlog.Readings)
	}
	if c.Backlog.Spill < time.Second {
		add("backlog.spill %v is below 1s", c.Backlog.Spill)
	}
	if c.Backlog.ResendPerSecond < 1 {
		add("backlog.resend_per_second %d is below 1", c.Backlog.ResendPerSecond)
	}
	seen := map[cook.ProbeID]bool{}
	for i, p := range c.Probes {
		if err := p.validate(); err != nil {
			add("[[probe]] number %d: %w", i+1, err)
		}
		if seen[p.Name] {
			add("[[probe]] number %d: the name %q is given twice", i+1, p.Name)
		}
		seen[p.Name] = true
	}
	return errors.Join(errs...)
}

func (p Probe) validate() error {
	var errs []error
	errs = append(errs, p.Name.Validate())
	address, err := sysfs.ParseAddress(p.Device)
	errs = append(errs, err)
	if p.Samples < 0 || p.Samples > 1000 || p.Gap < 0 || p.Gap > 10*time.Second {
		errs = append(errs, errors.New("samples are 0 (by kind of sensor) to 1000, gap is 0s to 10s"))
	}
	switch {
	case p.Convert != nil:
		if err := p.Convert.Validate(); err != nil {
			errs = append(errs, fmt.Errorf("convert: %w", err))
		}
	case err == nil && address.Voltage():
		errs = append(errs, fmt.Errorf("%s is a voltage: say in [probe.convert] how it becomes a temperature", p.Device))
	}
	return errors.Join(errs...)
}

// Password reads mqtt.password_file; a relative path is a systemd credential where there are some.
func (m MQTT) Password() (string, error) {
	if m.PasswordFile == "" {
		return "", nil
	}
	path := m.PasswordFile
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" && !filepath.IsAbs(path) {
		path = filepath.Join(dir, path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read mqtt.password_file: %w", err)
	}
	return strings.TrimRight(string(data), "\r\n"), nil
}
