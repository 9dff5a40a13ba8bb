package config

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/alarm"
)

// Notify sets who is told of alarms and by which paths. Without a path nobody is told; the pages show alarms all the same.
type Notify struct {
	Link             string        `toml:"link"`
	TestAt           string        `toml:"test_at"`
	FailingAfter     time.Duration `toml:"failing_after"`
	KeepTrying       time.Duration `toml:"keep_trying"`
	HeartbeatURL     string        `toml:"heartbeat_url"`
	HeartbeatURLFile string        `toml:"heartbeat_url_file"`
	HeartbeatPost    bool          `toml:"heartbeat_post"`
	HeartbeatEvery   time.Duration `toml:"heartbeat_every"`
	People           []Person      `toml:"person"`
	Paths            []Path        `toml:"path"`
}

// Person is somebody who is told and sleeps. Times of day are in the time zone of the pages.
type Person struct {
	Name       string         `toml:"name"`
	QuietFrom  string         `toml:"quiet_from"`
	QuietUntil string         `toml:"quiet_until"`
	QuietHolds alarm.Priority `toml:"quiet_holds"`
}

// Path is one way out. Which keys it has depends on its kind.
type Path struct {
	Name        string         `toml:"name"`
	Person      string         `toml:"person"`
	Kind        string         `toml:"kind"`
	NoticeAfter *time.Duration `toml:"notice_after"` // nil: not used for that priority
	LowAfter    *time.Duration `toml:"low_after"`
	MediumAfter *time.Duration `toml:"medium_after"`
	HighAfter   *time.Duration `toml:"high_after"`
	AgainEvery  time.Duration  `toml:"again_every"`
	TimeLimit   time.Duration  `toml:"time_limit"` // 0: 30 s

	Server       string   `toml:"server"`
	Security     string   `toml:"security"` // empty: starttls
	Username     string   `toml:"username"`
	PasswordFile string   `toml:"password_file"`
	CAFile       string   `toml:"ca_file"`
	From         string   `toml:"from"`
	To           []string `toml:"to"`

	URL        string `toml:"url"`
	URLFile    string `toml:"url_file"`
	SecretFile string `toml:"secret_file"`
	TokenFile  string `toml:"token_file"`

	Command []string `toml:"command"`

	Contact string `toml:"contact"`
}

// The kinds of path.
const (
	PathEmail        = "email"
	PathWebhook      = "webhook"
	PathAlertmanager = "alertmanager"
	PathCommand      = "command"
	PathWebPush      = "webpush"
)

// After gives how long an alarm of each priority may stand before the path is used; a priority that never uses it is missing.
func (p Path) After() map[alarm.Priority]time.Duration {
	out := map[alarm.Priority]time.Duration{}
	for priority, after := range map[alarm.Priority]*time.Duration{alarm.Notice: p.NoticeAfter, alarm.Low: p.LowAfter, alarm.Medium: p.MediumAfter, alarm.High: p.HighAfter} {
		if after != nil {
			out[priority] = *after
		}
	}
	return out
}

// HostPort splits the mail server; without a port it is the usual one of the security.
func (p Path) HostPort() (host string, port int, err error) {
	host, text, err := net.SplitHostPort(p.Server)
	if err != nil {
		switch p.Security {
		case "tls":
			return p.Server, 465, nil
		case "none":
			return p.Server, 25, nil
		}
		return p.Server, 587, nil
	}
	n, err := strconv.ParseUint(text, 10, 16)
	if err != nil || n == 0 {
		return "", 0, fmt.Errorf("port %q is not a number from 1 to 65535", text)
	}
	return host, int(n), nil
}

func defaultNotify() Notify {
	return Notify{FailingAfter: 2 * time.Minute, KeepTrying: 72 * time.Hour, HeartbeatEvery: 5 * time.Minute}
}

func (n Notify) validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf("notify."+format, a...)) }
	if n.Link != "" && !webAddress(n.Link) {
		add("link %q is not an address: write it like https://smoker.example.org", n.Link)
	}
	if n.TestAt != "" && !timeOfDay(n.TestAt) {
		add("test_at %q is not a time of day: write it like 18:00, or leave it empty for no test", n.TestAt)
	}
	if n.FailingAfter < 10*time.Second || n.FailingAfter > time.Hour {
		add("failing_after %v is not between 10s and 1h", n.FailingAfter)
	}
	if n.KeepTrying < time.Hour || n.KeepTrying > 30*24*time.Hour {
		add("keep_trying %v is not between 1h and 720h", n.KeepTrying)
	}
	if n.HeartbeatURL != "" && n.HeartbeatURLFile != "" {
		add("heartbeat_url and heartbeat_url_file: give one of them")
	}
	if n.HeartbeatURL != "" && !webAddress(n.HeartbeatURL) {
		add("heartbeat_url is not an address that begins with http:// or https://")
	}
	if n.HeartbeatEvery < 10*time.Second || n.HeartbeatEvery > 24*time.Hour {
		add("heartbeat_every %v is not between 10s and 24h", n.HeartbeatEvery)
	}
	errs = append(errs, n.validatePeople(), n.validatePaths())
	return errors.Join(errs...)
}

func (n Notify) validatePeople() error {
	var errs []error
	names := map[string]bool{}
	for i, p := range n.People {
		add := func(format string, a ...any) {
			errs = append(errs, fmt.Errorf("%s: %w", block("notify.person", i, p.Name), fmt.Errorf(format, a...)))
		}
		for _, err := range p.mistakes() {
			add("%w", err)
		}
		if names[p.Name] {
			add("the name is there twice: give each another")
		}
		names[p.Name] = true
		if p.Name != "" && !slices.ContainsFunc(n.Paths, func(q Path) bool { return q.Person == p.Name }) {
			add("no path leads there: give one [[notify.path]] person = %q", p.Name)
		}
	}
	return errors.Join(errs...)
}

func (n Notify) validatePaths() error {
	var errs []error
	names, high := map[string]bool{}, false
	for i, p := range n.Paths {
		add := func(format string, a ...any) {
			errs = append(errs, fmt.Errorf("%s: %w", block("notify.path", i, p.Name), fmt.Errorf(format, a...)))
		}
		for _, err := range p.mistakes() {
			add("%w", err)
		}
		if names[p.Name] {
			add("the name is there twice: give each another")
		}
		names[p.Name] = true
		if p.Person != "" && !slices.ContainsFunc(n.People, func(q Person) bool { return q.Name == p.Person }) {
			add("person %q is not one of the [[notify.person]]", p.Person)
		}
		high = high || p.HighAfter != nil
	}
	if len(n.Paths) > 0 && !high {
		errs = append(errs, errors.New("no [[notify.path]] is used for high alarms: give one of them high_after = \"0s\""))
	}
	return errors.Join(errs...)
}

func (p Person) mistakes() []error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if p.Name == "" {
		add("name is empty")
	}
	switch {
	case (p.QuietFrom == "") != (p.QuietUntil == ""):
		add("quiet_from and quiet_until go together")
	case p.QuietFrom != "" && !(timeOfDay(p.QuietFrom) && timeOfDay(p.QuietUntil)):
		add("quiet_from %q and quiet_until %q: write times of day like 22:00", p.QuietFrom, p.QuietUntil)
	case p.QuietFrom != "" && p.QuietFrom == p.QuietUntil:
		add("quiet_from and quiet_until are the same: leave both out for no quiet hours")
	}
	switch p.QuietHolds {
	case "", alarm.Notice, alarm.Low, alarm.Medium:
	case alarm.High:
		add("quiet_holds: high alarms are never held back; write notice, low or medium")
	default:
		add("quiet_holds %q is not notice, low or medium", p.QuietHolds)
	}
	return errs
}

func (p Path) mistakes() []error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if p.Name == "" {
		add("name is empty")
	}
	if len(p.After()) == 0 {
		add("it is never used: say when with notice_after, low_after, medium_after or high_after (\"0s\" is at once)")
	}
	for priority, after := range p.After() {
		if after < 0 || after > 24*time.Hour {
			add("%s_after %v is not between 0s and 24h", priority, after)
		}
	}
	if p.AgainEvery != 0 && (p.AgainEvery < time.Minute || p.AgainEvery > 24*time.Hour) {
		add("again_every %v is not between 1m and 24h; 0s sends once", p.AgainEvery)
	}
	if p.TimeLimit != 0 && (p.TimeLimit < time.Second || p.TimeLimit > 5*time.Minute) {
		add("time_limit %v is not between 1s and 5m", p.TimeLimit)
	}
	return append(append(errs, p.strangers()...), p.kindMistakes()...)
}

func (p Path) kindMistakes() []error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	switch p.Kind {
	case PathEmail:
		if _, _, err := p.HostPort(); p.Server == "" || err != nil {
			add("server %q is not like mail.example.org:587", p.Server)
		}
		if !slices.Contains([]string{"", "starttls", "tls", "none"}, p.Security) {
			add("security %q is not starttls, tls or none", p.Security)
		}
		if p.Security == "none" && p.Username != "" {
			add("security = \"none\" would send the password in the clear: use starttls or tls")
		}
		if (p.Username == "") != (p.PasswordFile == "") {
			add("username and password_file go together")
		}
		if _, err := mail.ParseAddress(p.From); err != nil {
			add("from %q is not an address like smoker@example.org", p.From)
		}
		if len(p.To) == 0 {
			add("to is empty: name at least one address")
		}
		for _, to := range p.To {
			if _, err := mail.ParseAddress(to); err != nil {
				add("to %q is not an address like cook@example.org", to)
			}
		}
	case PathWebhook, PathAlertmanager:
		if (p.URL == "") == (p.URLFile == "") {
			add("give url, or url_file with the address in a file of its own")
		} else if p.URL != "" && !webAddress(p.URL) {
			add("url is not an address that begins with http:// or https://; a user and a password do not belong into it, see token_file")
		}
	case PathCommand:
		if len(p.Command) == 0 || !strings.HasPrefix(p.Command[0], "/") {
			add("command needs the full path of a program and its arguments, such as [\"/usr/local/bin/siren\", \"on\"]")
		}
	case PathWebPush:
		if p.Person == "" {
			add("webpush needs a person, whose browsers are told")
		}
		if !contact(p.Contact) {
			add("contact %q is not how the push services reach you: write it like mailto:cook@example.org or https://example.org; no localhost", p.Contact)
		}
	default:
		add("kind %q is not email, webhook, alertmanager, command or webpush", p.Kind)
	}
	return errs
}

// strangers finds keys that belong to another kind, which would silently do nothing.
func (p Path) strangers() []error {
	set := []struct {
		key   string
		given bool
		kinds []string
	}{
		{"server", p.Server != "", []string{PathEmail}}, {"security", p.Security != "", []string{PathEmail}},
		{"username", p.Username != "", []string{PathEmail}}, {"password_file", p.PasswordFile != "", []string{PathEmail}},
		{"ca_file", p.CAFile != "", []string{PathEmail}}, {"from", p.From != "", []string{PathEmail}}, {"to", len(p.To) > 0, []string{PathEmail}},
		{"url", p.URL != "", []string{PathWebhook, PathAlertmanager}}, {"url_file", p.URLFile != "", []string{PathWebhook, PathAlertmanager}},
		{"token_file", p.TokenFile != "", []string{PathWebhook, PathAlertmanager}}, {"secret_file", p.SecretFile != "", []string{PathWebhook}},
		{"command", len(p.Command) > 0, []string{PathCommand}}, {"contact", p.Contact != "", []string{PathWebPush}},
	}
	var errs []error
	for _, s := range set {
		if s.given && !slices.Contains(s.kinds, p.Kind) {
			errs = append(errs, fmt.Errorf("%s belongs to kind %s: take it out", s.key, strings.Join(s.kinds, " and ")))
		}
	}
	return errs
}

// contact reports whether a text is an address that push services accept as that of who sends (RFC 8292, section 2.1).
func contact(s string) bool {
	host := ""
	if to, ok := strings.CutPrefix(s, "mailto:"); ok {
		a, err := mail.ParseAddress(to)
		if err != nil || a.Address != to {
			return false
		}
		_, host, _ = strings.Cut(to, "@")
	} else if u, err := url.Parse(s); err == nil && u.Scheme == "https" && u.User == nil {
		host = u.Hostname()
	}
	return strings.Contains(host, ".") && !strings.HasSuffix(host, ".local") && !strings.HasSuffix(host, ".localhost")
}

func timeOfDay(s string) bool {
	_, err := time.Parse("15:04", s)
	return err == nil && len(s) == len("15:04")
}

func webAddress(s string) bool {
	u, err := url.Parse(s)
	return err == nil && u.Host != "" && u.User == nil && (u.Scheme == "http" || u.Scheme == "https")
}
