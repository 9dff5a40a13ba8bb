package plan

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"stallkeeper/internal/when"
)

// width is what a phone shows in one line, in characters.
const width = 46

// Text writes a plan to be read on a phone: what cannot be done first, then day by day.
func (p Plan) Text() string {
	var b strings.Builder
	r := p.Request
	put := func(indent, s string) { b.WriteString(fold(s, indent)) }
	if p.Feasible {
		put("", fmt.Sprintf("Served %s: it can be done.", when.Day(r.Serve, r.Zone)))
		put("", capital(p.Because)+".")
	} else {
		put("", fmt.Sprintf("Served %s: NOT POSSIBLE.", when.Day(r.Serve, r.Zone)))
		put("", p.Because+".")
		if len(p.Nearest) > 0 {
			put("", "What can be done instead:")
		}
		for _, a := range p.Nearest {
			put("  ", "- "+a.Do)
		}
		put("", "The times below are the soonest there are.")
	}
	for i, q := range p.Pieces {
		put("", q.line(r.Pieces[i]))
	}
	if len(p.Pieces) > 1 && !math.IsNaN(p.PAllReady) {
		put("", p.AllReady())
	}
	b.WriteString(p.byDay())
	put("", "\nTimes are local, in "+zoneName(r.Serve, r.Zone)+".")
	put("", "Where the durations come from:")
	for _, l := range p.bases() {
		put("  ", l)
	}
	for _, q := range r.Pieces {
		for _, rule := range q.CureRules {
			put("  ", "cure of "+string(q.ID)+", "+rule)
		}
	}
	for _, c := range p.Cautions {
		put("", "! "+c)
	}
	return b.String()
}

// AllReady says how likely all pieces are to be ready together.
func (p Plan) AllReady() string {
	s := fmt.Sprintf("Each is ready as planned with nine chances in ten; all together with %.0f %%.", 100*p.PAllReady)
	switch {
	case p.PAllReady >= planLevel:
	case p.Earlier == never:
		s += " No earlier start makes that 90 %; a wrap is the reserve where one slips behind."
	default:
		s += fmt.Sprintf(" Each put on %s earlier, it is 90 %%; a wrap is the reserve where one slips behind.", span(p.Earlier))
	}
	return s
}

func (q PiecePlan) line(p Piece) string {
	s := fmt.Sprintf("%s: ", p.ID)
	if p.MassKg > 0 {
		s += kilograms(p.MassKg) + ", "
	}
	if p.ThicknessMM > 0 {
		s += fmt.Sprintf("%.0f mm, ", p.ThicknessMM)
	}
	s += fmt.Sprintf("to %.0f °C.", float64(p.Target))
	if !p.offPit() && q.ReadyP10 >= 0 && q.ReadyP90 >= 0 {
		s += fmt.Sprintf(" Smoke %s to %s, as likely as not %s.", span(q.ReadyP10), span(q.ReadyP90), span(q.ReadyP50))
	}
	if p.Cure > 0 && p.CureBasis != "" {
		s += fmt.Sprintf(" A cure of %s %s.", days(p.Cure), p.CureBasis)
	}
	return s
}

// byDay lists the steps under their days; steps of several pieces at one time stand together.
func (p Plan) byDay() string {
	var b strings.Builder
	zone, today := p.Request.Zone, ""
	for i := 0; i < len(p.Steps); {
		s := p.Steps[i]
		pieces := []string{string(s.Piece)}
		k := i + 1
		for ; k < len(p.Steps) && same(s, p.Steps[k]); k++ {
			pieces = append(pieces, string(p.Steps[k].Piece))
		}
		i = k
		if d := when.Calendar(s.At, zone); d != today {
			today = d
			b.WriteString("\n" + d + "\n")
		}
		head := fmt.Sprintf("%s  %s", when.Clock(s.At, zone), s.ID.Words())
		if len(p.Pieces) > 1 && s.Piece != "" {
			head += "  " + strings.Join(pieces, ", ")
		}
		b.WriteString(fold(head, "    "))
		b.WriteString(fold(s.limits(zone), "    "))
		b.WriteString(fold("    "+s.Do, "    "))
		if s.IfLate != "" {
			b.WriteString(fold("    Late? "+s.IfLate, "    "))
		}
	}
	return b.String()
}

func same(a, b Step) bool {
	return a.ID == b.ID && a.At.Equal(b.At) && a.Latest.Equal(b.Latest) && a.Do == b.Do && a.Piece != "" && b.Piece != ""
}

// limits is the line on until when, at the latest, and slack.
func (s Step) limits(zone *time.Location) string {
	var parts []string
	if s.Until.After(s.At) {
		parts = append(parts, "until "+when.Near(s.Until, s.At, zone))
	}
	if slack := s.Slack(); slack < 0 {
		parts = append(parts, "TOO LATE since "+when.Near(s.Latest, s.At, zone))
	} else if slack > 0 {
		parts = append(parts, fmt.Sprintf("latest %s (slack %s)", when.Near(s.Latest, s.At, zone), span(slack)))
	} else {
		parts = append(parts, "no slack")
	}
	return "    " + strings.Join(parts, "; ")
}

// bases lists each basis once, with the steps that rest on it.
func (p Plan) bases() []string {
	var order []string
	steps := map[string][]string{}
	for _, s := range p.Steps {
		if s.Basis == "" || s.ID == CureStart && s.Basis != asked { // what stands behind a cure is said with its piece
			continue
		}
		if steps[s.Basis] == nil {
			order = append(order, s.Basis)
		}
		ids := steps[s.Basis]
		if len(ids) == 0 || ids[len(ids)-1] != s.ID.Words() {
			steps[s.Basis] = append(ids, s.ID.Words())
		}
	}
	lines := make([]string, len(order))
	for i, basis := range order {
		lines[i] = strings.Join(unique(steps[basis]), ", ") + ": " + basis
	}
	return lines
}

func unique(words []string) []string {
	var out []string
	seen := map[string]bool{}
	for _, w := range words {
		if !seen[w] {
			out, seen[w] = append(out, w), true
		}
	}
	return out
}

func zoneName(t time.Time, zone *time.Location) string {
	offset := t.In(zone).Format("-07:00")
	if name := zone.String(); name != "" && name != "Local" {
		return name
	}
	return offset
}

// fold breaks a text into lines of at most width characters where it has spaces; lines after the first are indented.
func fold(s, indent string) string {
	var b strings.Builder
	lead := s[:len(s)-len(strings.TrimLeft(s, " \n"))]
	b.WriteString(lead)
	n := utf8.RuneCountInString(strings.TrimLeft(lead, "\n"))
	empty := true
	for word := range strings.FieldsSeq(s) {
		w := utf8.RuneCountInString(word)
		if !empty && n+1+w > width {
			b.WriteString("\n" + indent)
			n, empty = len(indent), true
		}
		if !empty {
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n += w
		empty = false
	}
	b.WriteByte('\n')
	return b.String()
}

// title names a step in a calendar.
func title(s Step, pieces int) string {
	if pieces > 1 && s.Piece != "" {
		return fmt.Sprintf("%s: %s", s.ID.Words(), s.Piece)
	}
	return s.ID.Words()
}
