// Package config decodes stallkeeper.toml strictly, applies defaults and reports every mistake at once with its line.
//
// It reads one file and the files of secrets that it names, and nothing else. Every key has a default; an empty file
// is a valid configuration for one machine on loopback. Secrets stand in files of their own, never in this one.
package config

import (
	"crypto/tls"
	"errors"
	"fmt"
	"math"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/convert"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
	"stallkeeper/internal/strict"
)

// Config is everything that can be set. Durations are written like "50ms" or "15m".
type Config struct {
	Data     string         `toml:"data"`
	Timezone string         `toml:"timezone"`
	Store    Store          `toml:"store"`
	HTTP     HTTP           `toml:"http"`
	Broker   Broker         `toml:"broker"`
	MQTT     MQTT           `toml:"mqtt"`
	Users    []User         `toml:"user"`
	Probes   []Probe        `toml:"probe"`
	Checks   Checks         `toml:"checks"`
	Fuel     Fuel           `toml:"fuel"`
	Forecast Forecast       `toml:"forecast"`
	Safety   Safety         `toml:"safety"`
	Alarm    alarm.Settings `toml:"alarm"`
	Notify   Notify         `toml:"notify"`
	Records  Records        `toml:"records"`
}

// Store sets how readings reach the disk.
type Store struct {
	Linger time.Duration `toml:"linger"`
}

// HTTP sets where the pages are served.
type HTTP struct {
	Listen      string `toml:"listen"`
	BehindProxy bool   `toml:"behind_proxy"`
	TLSCert     string `toml:"tls_cert"`
	TLSKey      string `toml:"tls_key"`
}

// Broker sets the embedded MQTT broker.
type Broker struct {
	Listen     string `toml:"listen"`
	MaxClients int    `toml:"max_clients"`
	TLSCert    string `toml:"tls_cert"`
	TLSKey     string `toml:"tls_key"`
}

// MQTT sets an outside broker, used instead of the embedded one when URL is given, and what is read from either.
type MQTT struct {
	URL          string    `toml:"url"`
	ClientID     string    `toml:"client_id"`
	Username     string    `toml:"username"`
	PasswordFile string    `toml:"password_file"`
	CAFile       string    `toml:"ca_file"`
	Mappings     []Mapping `toml:"mapping"`
}

// Mapping reads payloads of another shape: JSON at a topic, with JSON Pointers (RFC 6901) to the value, the time and the charge of the battery.
type Mapping struct {
	Topic   string `toml:"topic"`
	Probe   string `toml:"probe"`
	Value   string `toml:"value"`
	Time    string `toml:"time"`
	Battery string `toml:"battery"`
	Unit    string `toml:"unit"`
}

// User may log in; Role is watch, work or manage. PasswordHash comes from "stallkeeper serve --hash-password".
type User struct {
	Name         string `toml:"name"`
	Role         string `toml:"role"`
	PasswordHash string `toml:"password_hash"`
}

// Probe declares a probe: what it measures and how its raw values become degrees.
type Probe struct {
	ID      cook.ProbeID  `toml:"id"`
	Role    cook.Role     `toml:"role"`
	Convert *convert.Spec `toml:"convert"`

	// A correction from a check, applied to whatever the probe sends: true = CorrectionSlope × sent + CorrectionK.
	CorrectionSlope float64 `toml:"correction_slope"` // 0 = 1
	CorrectionK     float64 `toml:"correction_k"`
}

// Correction gives the probe's correction, and whether there is one.
func (p Probe) Correction() (calibrate.Correction, bool) {
	c := calibrate.Correction{Slope: p.CorrectionSlope, K: p.CorrectionK}
	if c.Slope == 0 {
		c.Slope = 1
	}
	return c, c != calibrate.Correction{Slope: 1}
}

// Checks sets how probes are to be checked.
type Checks struct {
	Tolerance thermal.CelsiusDelta `toml:"tolerance_k"`
	Every     time.Duration        `toml:"every"`
}

// Fuel says how long a load of fuel lasts; zero when the fire feeds itself.
type Fuel struct {
	Every time.Duration `toml:"every"`
}

// Forecast names what the forecaster has learned about this pit: a file that "stallkeeper backtest --keep" wrote. Empty = the
// prior that comes with the program.
type Forecast struct {
	Prior string `toml:"prior"`
}

// Default is the configuration without a file.
func Default() Config {
	return Config{
		Data:    "stallkeeper-data",
		Store:   Store{Linger: 50 * time.Millisecond},
		HTTP:    HTTP{Listen: "127.0.0.1:8080"},
		Broker:  Broker{Listen: "127.0.0.1:1883", MaxClients: 200},
		MQTT:    MQTT{ClientID: "stallkeeper"},
		Checks:  Checks{Tolerance: calibrate.DefaultTolerance},
		Safety:  Safety{Rules: safety.DefaultSets(), MaxGap: 30 * time.Minute, Organism: "salmonella"},
		Alarm:   alarm.DefaultSettings(),
		Notify:  defaultNotify(),
		Records: defaultRecords(),
	}
}

// Load reads a file over the defaults. The error lists every mistake, each with its line and the way out.
func Load(path string) (Config, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Config{}, fmt.Errorf("read config: %w", err)
	}
	c, err := Parse(string(data))
	if err != nil {
		return Config{}, fmt.Errorf("config %s: %w", path, err)
	}
	return c, nil
}

// Parse decodes a configuration over the defaults.
func Parse(text string) (Config, error) {
	c := Default()
	if err := strict.Decode(text, &c, "configs/stallkeeper.toml"); err != nil {
		return Config{}, err
	}
	for i, p := range c.Probes {
		if p.Role == "" {
			c.Probes[i].Role = p.ID.UsualRole()
		}
	}
	if err := c.Validate(); err != nil {
		return Config{}, err
	}
	return c, nil
}

// Validate reports everything that is wrong, keys named.
func (c *Config) Validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if c.Data == "" {
		add("data is empty: name a folder")
	}
	if _, err := c.Location(); err != nil {
		add("timezone %q is not known: write an IANA name such as Europe/Berlin, or leave it empty", c.Timezone)
	}
	if c.Store.Linger < 0 || c.Store.Linger > 10*time.Second {
		add("store.linger %v is not between 0s and 10s", c.Store.Linger)
	}
	if c.Broker.MaxClients < 1 {
		add("broker.max_clients %d is below 1", c.Broker.MaxClients)
	}
	errs = append(errs, checkAddr("http.listen", c.HTTP.Listen, "127.0.0.1:8080"), checkAddr("broker.listen", c.Broker.Listen, "127.0.0.1:1883"),
		checkPair("http", c.HTTP.TLSCert, c.HTTP.TLSKey), checkPair("broker", c.Broker.TLSCert, c.Broker.TLSKey),
		c.MQTT.validate(), c.validateUsers(), c.validateProbes(), c.Safety.validate(), c.Alarm.Validate(), c.Notify.validate(), c.validateRecords())
	if !(c.Checks.Tolerance > 0 && c.Checks.Tolerance <= 5) {
		add("checks.tolerance_k %v is not above 0 and at most 5", float64(c.Checks.Tolerance))
	}
	if c.Checks.Every < 0 {
		add("checks.every %v is negative", c.Checks.Every)
	}
	if c.Fuel.Every < 0 {
		add("fuel.every %v is negative", c.Fuel.Every)
	}
	return errors.Join(errs...)
}

func (m MQTT) validate() error {
	var errs []error
	if m.URL != "" {
		u, err := url.Parse(m.URL)
		if err != nil || u.Host == "" || !slices.Contains([]string{"mqtt", "mqtts", "tcp", "ssl"}, u.Scheme) {
			errs = append(errs, fmt.Errorf("mqtt.url %q is not like mqtt://host:1883 or mqtts://host:8883", m.URL))
		} else if u.User != nil {
			errs = append(errs, errors.New("mqtt.url holds a password: use mqtt.username and mqtt.password_file"))
		}
	}
	if m.ClientID == "" {
		errs = append(errs, errors.New("mqtt.client_id is empty: a persistent session needs a fixed name"))
	}
	for i, p := range m.Mappings {
		if p.Topic == "" || p.Probe == "" {
			errs = append(errs, fmt.Errorf("%s needs topic and probe", block("mqtt.mapping", i, p.Topic)))
		}
		if !slices.Contains([]string{"", "C", "F", "K", "ohms", "volts", "millivolts", "raw"}, p.Unit) {
			errs = append(errs, fmt.Errorf("%s: unit %q is not C, F, K, ohms, volts, millivolts or raw", block("mqtt.mapping", i, p.Topic), p.Unit))
		}
	}
	return errors.Join(errs...)
}

func (c *Config) validateUsers() error {
	var errs []error
	for i, u := range c.Users {
		if u.Name == "" || u.PasswordHash == "" {
			errs = append(errs, fmt.Errorf("%s needs name and password_hash", block("user", i, u.Name)))
		}
		errs = append(errs, cook.CheckText(fmt.Sprintf("user[%d].name", i), u.Name))
		if !slices.Contains([]string{"watch", "work", "manage"}, u.Role) {
			errs = append(errs, fmt.Errorf("%s: role %q is not watch, work or manage", block("user", i, u.Name), u.Role))
		}
	}
	return errors.Join(errs...)
}

func (c *Config) validateProbes() error {
	var errs []error
	roles := []cook.Role{cook.RolePit, cook.RolePiece, cook.RoleAmbient, cook.RoleCooler, cook.RoleHolding, cook.RoleCO}
	seen := map[cook.ProbeID]bool{}
	for i, p := range c.Probes {
		name := block("probe", i, string(p.ID))
		if err := p.ID.Validate(); err != nil {
			errs = append(errs, fmt.Errorf("%s: id: %w", name, err))
		}
		if p.ID != "" && seen[p.ID] {
			errs = append(errs, fmt.Errorf("%s stands there twice: make one section of the two", name))
		}
		seen[p.ID] = true
		if !slices.Contains(roles, p.Role) {
			errs = append(errs, fmt.Errorf("%s: role %q is not pit, piece, ambient, cooler, holding or co", name, p.Role))
		}
		if c, ok := p.Correction(); ok && !(math.Abs(c.Slope-1) <= 0.1 && math.Abs(c.K) <= 20) {
			errs = append(errs, fmt.Errorf("%s: correction_slope %v is not between 0.9 and 1.1, or correction_k %v not within ±20 K: such a probe is broken, or of another kind", name, c.Slope, c.K))
		}
		if p.Convert != nil {
			if err := p.Convert.Validate(); err != nil {
				errs = append(errs, fmt.Errorf("%s: convert: %w", name, err))
			}
		}
	}
	return errors.Join(errs...)
}

// block names one of several sections: by its name where it has one, else by its place in the file.
func block(section string, i int, name string) string {
	if name == "" {
		return fmt.Sprintf("[[%s]] number %d", section, i+1)
	}
	return fmt.Sprintf("[[%s]] %q", section, name)
}

func checkAddr(key, addr, like string) error {
	if _, _, err := net.SplitHostPort(addr); err != nil {
		return fmt.Errorf("%s %q is not an address: write it like %s", key, addr, like)
	}
	return nil
}

func checkPair(section, cert, key string) error {
	if (cert == "") != (key == "") {
		return fmt.Errorf("%s: tls_cert and tls_key go together", section)
	}
	return nil
}

// Location is the time zone of the pages and records: the one named, or the machine's.
func (c *Config) Location() (*time.Location, error) {
	if c.Timezone == "" {
		return time.Local, nil
	}
	return time.LoadLocation(c.Timezone)
}

// Password reads the outside broker's password, from mqtt.password_file or a systemd credential of that name.
func (m MQTT) Password() (string, error) { return Secret("mqtt.password_file", m.PasswordFile) }

// Secret reads the file that a key names: a relative path is a systemd credential where there are any. No path, no secret.
func Secret(key, path string) (string, error) {
	if path == "" {
		return "", nil
	}
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" && !filepath.IsAbs(path) {
		path = filepath.Join(dir, path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read %s: %w", key, err)
	}
	return strings.TrimRight(string(data), "\r\n"), nil
}

// TLS loads a certificate pair from PEM files, for TLS 1.2 and later; nil without an error when cert is empty.
func TLS(cert, key string) (*tls.Config, error) {
	if cert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		return nil, fmt.Errorf("load TLS certificate: %w", err)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}
