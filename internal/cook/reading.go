package cook

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"stallkeeper/estimator/thermal"
)

// ErrNotFound is returned for a cook, piece, probe, alarm or event that is not there.
var ErrNotFound = errors.New("not found")

// ErrConflict is returned when something cannot be done in the present state, for instance ending a cook twice.
var ErrConflict = errors.New("conflict")

// ProbeID names a probe: the part of an MQTT topic behind "stallkeeper/reading/". It may have levels: "pit/left".
type ProbeID string

// ForShell is the name as one word of a POSIX shell: a name comes from the network, and may be copied from a page with a command.
func (p ProbeID) ForShell() string {
	plain := func(c rune) bool {
		return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || strings.ContainsRune("._/-", c)
	}
	if p != "" && strings.IndexFunc(string(p), func(c rune) bool { return !plain(c) }) < 0 {
		return string(p)
	}
	return "'" + strings.ReplaceAll(string(p), "'", `'\''`) + "'"
}

// IsPit reports whether the name marks a pit probe: "pit" or "pit/<name>".
func (p ProbeID) IsPit() bool { return p == "pit" || strings.HasPrefix(string(p), "pit/") }

// UsualRole is what a probe of this name measures unless somebody says otherwise: the pit, or else a piece.
func (p ProbeID) UsualRole() Role {
	if p.IsPit() {
		return RolePit
	}
	return RolePiece
}

// MaxProbeID is the longest probe name, in bytes.
const MaxProbeID = 128

// Validate reports what is wrong with a probe name: empty, too long, with MQTT wildcards, characters that are not seen, or empty levels.
func (p ProbeID) Validate() error {
	if err := p.CheckKept(); err != nil {
		return err
	}
	return CheckSeen(fmt.Sprintf("probe name \"%s\"", Shown(string(p))), string(p))
}

// CheckKept is Validate for a name by which what is stored is looked up: names were once taken with characters that are not seen.
func (p ProbeID) CheckKept() error {
	s := string(p)
	switch {
	case s == "":
		return errors.New("probe name is empty: give a name such as \"core\" or \"pit/left\"")
	case len(s) > MaxProbeID:
		return fmt.Errorf("probe name is %d bytes long: shorten it to %d", len(s), MaxProbeID)
	case !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl):
		return fmt.Errorf("probe name %q has control or invalid characters: use letters, digits, - and _", s)
	case strings.ContainsAny(s, "+#$"):
		return fmt.Errorf("probe name %q has one of + # $: use letters, digits, - and _", s)
	case strings.HasPrefix(s, "/") || strings.HasSuffix(s, "/") || strings.Contains(s, "//"):
		return fmt.Errorf("probe name %q has an empty level: write it like \"pit/left\"", s)
	}
	return nil
}

// Role says what a probe measures.
type Role string

// The roles of a probe.
const (
	RolePit     Role = "pit"
	RolePiece   Role = "piece"
	RoleAmbient Role = "ambient"
	RoleCooler  Role = "cooler"
	RoleHolding Role = "holding"
	RoleCO      Role = "co" // carbon monoxide in ppm: an alarm input, never a safety device
)

// Quality says whether a stored reading may be relied on. Only Good readings feed forecasts and verdicts.
type Quality string

// The qualities of a reading. What is improbable is kept and said, not thrown away.
const (
	Good       Quality = "good"
	PowerUp    Quality = "power-up"     // exactly 85.0 °C: what a digital sensor gives before its first conversion
	Open       Quality = "disconnected" // −127 °C or below −60 °C: what a digital sensor or converter gives without contact
	OutOfRange Quality = "out-of-range" // hotter than any cook: above 250 °C in meat, 600 °C elsewhere
	Spike      Quality = "spike"        // a jump that the piece cannot make
	Stuck      Quality = "stuck"        // the very same noisy value for far too long
	Suspect    Quality = "suspect"      // measured by a probe that failed its check
)

// Clock says whose clock timed a reading.
type Clock string

// The clocks.
const (
	DeviceClock  Clock = "device"  // the payload carried the time
	ArrivalClock Clock = "arrival" // no time in the payload: the time it reached the daemon
	HandClock    Clock = "hand"    // typed in by a person
)

// Reading is one measured value of one probe.
type Reading struct {
	Probe    ProbeID
	Time     time.Time // UTC, whole microseconds (see Instant)
	Celsius  thermal.Celsius
	Quality  Quality
	Clock    Clock
	Retained bool      // the broker kept it from before: not a new reading
	Backlog  bool      // came long after it was measured
	Arrived  time.Time // when the daemon got it
	Seq      int64     // the device's own count, 0 = none
	Raw      string    // the payload's value and unit before conversion, when it was not Celsius
}

// Live reports whether the reading tells about now: measured just before it came, not kept by the broker and not late.
func (r Reading) Live() bool { return !r.Retained && !r.Backlog }

// Instant is the precision readings are kept at: UTC, cut to whole microseconds.
func Instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// Quarantined is a payload that could not become a reading, kept as it came with the reason.
type Quarantined struct {
	Time    time.Time `json:"time"`
	Topic   string    `json:"topic"`
	Payload []byte    `json:"-"`
	Reason  string    `json:"reason"`
	ID      int64     `json:"-"` // its number in the store, ascending; 0 before it is kept
}
