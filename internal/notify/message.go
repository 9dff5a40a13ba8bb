package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/when"
)

// Reason is what a message is for.
type Reason string

// The reasons.
const (
	Raised       Reason = "raised"       // an alarm began, or became more urgent
	Again        Reason = "again"        // still not acknowledged
	Acknowledged Reason = "acknowledged" // somebody else has it
	Over         Reason = "over"         // it ended
	Held         Reason = "held"         // what the quiet hours held back
	Test         Reason = "test"         // nothing is wrong
	Letter       Reason = "letter"       // no alarm: a text to be kept, by e-mail only
)

// Item is an alarm within a message.
type Item struct {
	Alarm   alarm.Alarm    `json:"alarm"`
	Because string         `json:"because"`          // what is so now
	Firing  bool           `json:"firing"`           // it stands
	Was     alarm.Priority `json:"was,omitempty"`    // the lower priority under which it was told before
	ByWhom  string         `json:"by_whom,omitzero"` // who acknowledged it
}

// Message is one thing to be sent by one path.
type Message struct {
	ID    string    `json:"id"` // the same at every try; 32 hexadecimal digits
	Path  string    `json:"path"`
	Made  time.Time `json:"made"`
	For   Reason    `json:"for"`
	Why   string    `json:"why"` // why it goes to this path now
	Items []Item    `json:"items"`

	Title string `json:"title,omitempty"` // of a letter
	Body  string `json:"body,omitempty"`  // of a letter
}

// NewLetter makes a letter; id tells it from others of the path, so that a repeat can be dropped.
func NewLetter(path, id string, made time.Time, why, title, body string) Message {
	return Message{ID: identify("letter", path, id), Path: path, Made: made.UTC(), For: Letter, Why: why, Title: title, Body: body}
}

// identify gives a message its name: the same event on the same path always has the same one.
func identify(parts ...any) string {
	sum := sha256.Sum256(fmt.Appendln(nil, parts...))
	return hex.EncodeToString(sum[:16])
}

// Subject is the message in one line, the urgency first.
func (m Message) Subject() string {
	switch {
	case m.For == Letter:
		return m.Title
	case m.For == Test:
		return "Test: messages of Stallkeeper reach you"
	case len(m.Items) != 1:
		return fmt.Sprintf("From the quiet hours: %d matters", len(m.Items))
	}
	it := m.Items[0]
	switch m.For {
	case Over:
		return "Over: " + firstSentence(it.Because)
	case Acknowledged:
		return "Taken care of: " + firstSentence(it.Alarm.Because)
	case Held:
		return "From the quiet hours: " + firstSentence(it.Because)
	case Again:
		return it.Alarm.Priority.Words() + ", still: " + firstSentence(it.Because)
	}
	return it.Alarm.Priority.Words() + ": " + firstSentence(it.Because)
}

// goesOn is how old the figures of an alarm may be before it is said of when they are. Choice of this project.
const goesOn = 5 * time.Minute

// then begins a text whose figures are not of now: "At 02:13: ".
func (m Message) then(it Item, zone *time.Location) string {
	if at := it.Alarm.SaidAt(); m.Made.Sub(at) > goesOn {
		return "At " + when.Near(at, m.Made, zone) + ": "
	}
	return ""
}

// Text is the message as people read it, times in the zone. link is the address of the pages; empty leaves it out.
func (m Message) Text(zone *time.Location, link string) string {
	var b strings.Builder
	for _, it := range m.Items {
		at := when.Clock(it.Alarm.Raised, zone)
		switch {
		case m.For == Acknowledged:
			fmt.Fprintf(&b, "%s has it. %s%s\n(Raised at %s. You can leave it to them.)\n\n", orSomebody(it.ByWhom), m.then(it, zone), it.Alarm.Because, at)
		case it.Firing:
			fmt.Fprintf(&b, "%s%s\n(%s; since %s.)\n\n", m.then(it, zone), it.Because, it.Alarm.Priority.Words(), at)
		default:
			fmt.Fprintf(&b, "%s\n(Over; it began at %s: %s)\n\n", it.Because, at, it.Alarm.Because)
		}
	}
	if m.For == Letter {
		b.WriteString(m.Body + "\n\n")
	}
	if m.For == Test {
		b.WriteString("This is a test. Nothing is wrong.\n\n")
	}
	fmt.Fprintf(&b, "Why you get this: %s.\n", m.Why)
	if m.For == Raised || m.For == Again {
		b.WriteString("Acknowledge it on the page, and it climbs no further.\n")
	}
	if link != "" {
		b.WriteString(link + "\n")
	}
	return b.String()
}

func orSomebody(name string) string {
	if name == "" {
		return "Somebody"
	}
	return name
}

// firstSentence ends at the first full stop that a space and a new sentence follow; figures such as 93.0 do not end it.
func firstSentence(s string) string {
	if before, _, ok := strings.Cut(s, ". "); ok {
		return before
	}
	return strings.TrimSuffix(s, ".")
}
