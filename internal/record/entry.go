package record

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Auth says how the daemon knew who made an entry.
type Auth string

// The ways of knowing.
const (
	AuthPIN    Auth = "pin"    // initials with the PIN that belongs to them
	AuthLogin  Auth = "login"  // logged in
	AuthSaid   Auth = "said"   // only said: neither PIN nor login is set up
	AuthDaemon Auth = "daemon" // no person: the daemon itself
)

// Maker is who makes an entry, and how the daemon knew.
type Maker struct {
	By   string // initials or login
	Auth Auth
}

// DaemonName is how the daemon signs what it enters; nobody else may.
const DaemonName = "daemon"

// Words says it for people.
func (a Auth) Words() string {
	switch a {
	case AuthPIN:
		return "PIN"
	case AuthLogin:
		return "login"
	case AuthDaemon:
		return "made by the program"
	case AuthSaid:
	}
	return "name typed in, not proved"
}

// Entry is one line of the journal. It is never changed or removed.
type Entry struct {
	Seq      int64           `json:"seq"` // 1, 2, 3, ... without a gap
	Lot      cook.LotID      `json:"lot"` // empty: it belongs to the shop, such as a check of a thermometer
	Kind     Kind            `json:"kind"`
	At       time.Time       `json:"at"`      // when it happened
	Entered  time.Time       `json:"entered"` // when it was entered
	By       string          `json:"by"`      // initials or login
	Auth     Auth            `json:"auth"`
	Body     json.RawMessage `json:"body"`               // canonical JSON; Decode gives its type
	Corrects int64           `json:"corrects,omitempty"` // the entry that this one replaces; 0 = none
	Reason   string          `json:"reason,omitempty"`   // why it corrects, or why it comes late
	Prev     Hash            `json:"prev"`               // Hash of the entry before; zeros for the first
	Hash     Hash            `json:"hash"`
}

// Draft is what somebody wants to enter. The store gives it number, time of entry and hash.
type Draft struct {
	Lot cook.LotID
	At  time.Time // zero: now
	Maker
	Body     Body
	Corrects int64
	Reason   string // needed with Corrects
}

// LateAfter is how long after the event an entry still counts as made at its time. Choice of this project; 9 CFR 417.5(b) asks for
// entries at the time of the event and names no span.
const LateAfter = 15 * time.Minute

// Late is how long after the event the entry was made, zero within LateAfter.
func (e Entry) Late() time.Duration {
	if d := e.Entered.Sub(e.At); d > LateAfter {
		return d
	}
	return 0
}

// Limits of what is taken. Choices of this project.
const (
	MaxBody = 64 << 10 // bytes of canonical JSON
	maxText = 4000     // bytes of one string in it
)

// Make checks a draft by itself and makes the entry that follows the one before it. Whether it fits its lot is for Lot.Accepts.
func (d Draft) Make(seq int64, prev Hash, entered time.Time) (Entry, error) {
	if d.Body == nil {
		return Entry{}, errors.New("the entry is empty: give it a body")
	}
	e := Entry{Seq: seq, Lot: d.Lot, Kind: d.Body.Kind(), At: cook.Instant(d.At), Entered: cook.Instant(entered), By: strings.TrimSpace(d.By), Auth: d.Auth,
		Corrects: d.Corrects, Reason: d.Reason, Prev: prev}
	if d.At.IsZero() {
		e.At = e.Entered
	}
	if err := d.check(e); err != nil {
		return Entry{}, err
	}
	text, err := json.Marshal(d.Body)
	if err != nil {
		return Entry{}, fmt.Errorf("%s: %w", e.Kind, err)
	}
	if e.Body, err = Canonical(text); err != nil {
		return Entry{}, fmt.Errorf("%s: %w", e.Kind, err)
	}
	if err := checkBody(e.Body); err != nil {
		return Entry{}, fmt.Errorf("%s: %w", e.Kind, err)
	}
	e.Hash = e.Link().Hash()
	return e, nil
}

func (d Draft) check(e Entry) error {
	errs := []error{cook.CheckText("by", e.By), cook.CheckText("reason", d.Reason)}
	if e.Lot != "" {
		errs = append(errs, CheckLotID(e.Lot))
	}
	if e.By == "" {
		errs = append(errs, errors.New("by is missing: say who made the entry"))
	}
	switch d.Auth {
	case AuthPIN, AuthLogin, AuthSaid, AuthDaemon:
	default:
		errs = append(errs, fmt.Errorf("auth %q is not pin, login, said or daemon", d.Auth))
	}
	errs = append(errs, cook.CheckHappened("at", e.At, e.Entered))
	if b, ok := d.Body.(happened); ok {
		errs = append(errs, b.happenedBy(e.Entered))
	}
	if d.Corrects != 0 && strings.TrimSpace(d.Reason) == "" {
		errs = append(errs, errors.New("reason is missing: say why the entry is corrected"))
	}
	if e.Lot == "" && needsLot(e.Kind) {
		errs = append(errs, fmt.Errorf("lot is missing: a %s entry belongs to a lot", e.Kind))
	}
	return errors.Join(append(errs, d.Body.Validate())...)
}

// CheckLotID reports a name that is not 1 to 60 letters, digits, dots, hyphens and underscores, a letter or digit first.
func CheckLotID(id cook.LotID) error {
	ok := id != "" && len(id) <= 60 && strings.IndexByte("._-", id[0]) < 0
	for _, r := range id {
		ok = ok && (r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-", r))
	}
	if !ok {
		return fmt.Errorf("lot %q: use 1 to 60 letters, digits, dots and hyphens, such as 26-11-25-brisket", clip(string(id)))
	}
	return nil
}

// happened is a body that says when something happened.
type happened interface {
	// happenedBy reports a time that is later than the entry.
	happenedBy(entered time.Time) error
}

// checkBody bounds the size of a canonical body and of its strings, and refuses characters that would make a record unreadable.
func checkBody(body []byte) error {
	if len(body) > MaxBody {
		return fmt.Errorf("it is %d bytes long: shorten it to %d", len(body), MaxBody)
	}
	var v any
	if err := json.Unmarshal(body, &v); err != nil {
		return err
	}
	return checkStrings(v)
}

func checkStrings(v any) error {
	switch v := v.(type) {
	case string:
		return checkString(v)
	case []any:
		for _, one := range v {
			if err := checkStrings(one); err != nil {
				return err
			}
		}
	case map[string]any:
		for key, one := range v {
			if err := errors.Join(checkString(key), checkStrings(one)); err != nil {
				return fmt.Errorf("%s: %w", clip(strings.ToValidUTF8(key, "?")), err)
			}
		}
	}
	return nil
}

func checkString(s string) error {
	if len(s) > maxText {
		return fmt.Errorf("a text is %d bytes long: shorten it to %d", len(s), maxText)
	}
	return cook.CheckProse("a text", s)
}

// timeForm is how times are hashed: UTC with all six places of the microseconds.
const timeForm = "2006-01-02T15:04:05.000000Z"

// content is the canonical JSON of everything in an entry but its place in the chain.
func (e Entry) content() []byte {
	b := append([]byte(`{"at":`), appendString(nil, e.At.UTC().Format(timeForm))...)
	b = append(append(b, `,"auth":`...), appendString(nil, string(e.Auth))...)
	b = append(append(b, `,"body":`...), e.Body...)
	b = append(append(b, `,"by":`...), appendString(nil, e.By)...)
	b = fmt.Appendf(b, `,"corrects":%d,"entered":`, e.Corrects)
	b = append(b, appendString(nil, e.Entered.UTC().Format(timeForm))...)
	b = append(append(b, `,"kind":`...), appendString(nil, string(e.Kind))...)
	b = append(append(b, `,"lot":`...), appendString(nil, string(e.Lot))...)
	b = append(append(b, `,"reason":`...), appendString(nil, e.Reason)...)
	return append(b, '}')
}

// Link gives the entry's place in the chain, from what it says.
func (e Entry) Link() Link {
	return Link{Seq: e.Seq, Of: string(e.Lot), Content: sha256.Sum256(e.content()), Prev: e.Prev}
}
