package plan

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"stallkeeper/internal/when"
)

// reminder is how long before a step its alarm rings. Choice of this project.
const reminder = 15 * time.Minute

// Calendar writes the steps as an iCalendar file (RFC 5545): an event for each step in UTC, lines folded at 75 octets, with
// an alarm a quarter of an hour before it is due and one a quarter of an hour before it is too late. The UID of an event
// is made of the serving hour, the piece and the step, so a plan made again for the same hour moves its events.
func (p Plan) Calendar() string {
	var b lines
	b.put("BEGIN:VCALENDAR")
	b.put("VERSION:2.0")
	b.put("PRODID:-//Stallkeeper//Plan//EN")
	b.put("CALSCALE:GREGORIAN")
	for _, s := range p.Steps {
		p.event(&b, s)
	}
	b.put("END:VCALENDAR")
	return b.String()
}

func (p Plan) event(b *lines, s Step) {
	end := s.At.Add(reminder)
	if s.Until.After(s.At) {
		end = s.Until
	}
	r := p.Request
	b.put("BEGIN:VEVENT")
	b.put("UID:" + escape(uid(r.Serve, s)))
	b.put("DTSTAMP:" + utc(r.Now))
	b.put("DTSTART:" + utc(s.At))
	b.put("DTEND:" + utc(end))
	b.put("SUMMARY:" + escape(title(s, len(p.Pieces))))
	b.put("DESCRIPTION:" + escape(strings.Join(p.notes(s), "\n")))
	b.put("CATEGORIES:Stallkeeper")
	b.put("TRANSP:TRANSPARENT")
	b.alarm(fmt.Sprintf("TRIGGER:-PT%dM", int(reminder.Minutes())), title(s, len(p.Pieces)))
	if last := s.Latest.Add(-reminder); last.After(s.At) {
		b.alarm("TRIGGER;VALUE=DATE-TIME:"+utc(last), "last moment: "+title(s, len(p.Pieces)))
	}
	b.put("END:VEVENT")
}

func (p Plan) notes(s Step) []string {
	notes := []string{s.Do, "At the latest " + when.Day(s.Latest, p.Request.Zone) + "."}
	if s.IfLate != "" {
		notes = append(notes, "If it is late: "+s.IfLate)
	}
	if s.Basis != "" {
		notes = append(notes, "Basis: "+s.Basis)
	}
	if s.ID == Serve && !p.Feasible {
		notes = append(notes, "The hour asked for cannot be met: "+p.Because)
	}
	return notes
}

func uid(serve time.Time, s Step) string {
	piece := string(s.Piece)
	if piece == "" {
		piece = "all"
	}
	return strings.ToLower(utc(serve)) + "-" + strings.ReplaceAll(piece, " ", "_") + "-" + string(s.ID) + "@stallkeeper"
}

func utc(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

// escape writes a TEXT value (RFC 5545, 3.3.11).
func escape(s string) string {
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}

// lines are content lines: ended by CRLF and folded so that none is longer than 75 octets (RFC 5545, 3.1).
type lines struct{ strings.Builder }

func (b *lines) put(line string) {
	room := 75
	for len(line) > room {
		cut := room
		for !utf8.RuneStart(line[cut]) {
			cut--
		}
		b.WriteString(line[:cut] + "\r\n ")
		line, room = line[cut:], 74
	}
	b.WriteString(line + "\r\n")
}

func (b *lines) alarm(trigger, text string) {
	b.put("BEGIN:VALARM")
	b.put("ACTION:DISPLAY")
	b.put(trigger)
	b.put("DESCRIPTION:" + escape(text))
	b.put("END:VALARM")
}
