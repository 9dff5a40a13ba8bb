package plan

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/testrig"
)

// RFC 5545, 3.1: lines end with CRLF and are at most 75 octets long without it; 3.3.11: text has its commas, semicolons,
// backslashes and line ends escaped.
func TestCalendar_LinesOfRFC5545(t *testing.T) {
	r := overMonth(t)
	r.Pieces[0].ID = "grün, gut; " + cook.PieceID(strings.Repeat("ö", 50))
	text := mustPlan(t, r).Calendar()
	if !utf8.ValidString(text) || strings.Contains(strings.ReplaceAll(text, "\r\n", ""), "\n") {
		t.Error("not UTF-8 in lines ended by CRLF")
	}
	for line := range strings.SplitSeq(text, "\r\n") {
		if len(line) > 75 || !utf8.ValidString(line) {
			t.Errorf("a line of %d octets: %q", len(line), line)
		}
	}
	if unfolded := strings.ReplaceAll(text, "\r\n ", ""); !strings.Contains(unfolded, `DESCRIPTION:Buy the brisket flat\, 2.5 kg (5.5 lb)\; keep it`) {
		t.Error("text is not escaped")
	}
}

// The same events keep their ids when the plan is made again later, and no two share one.
func TestCalendar_IdsAreStable(t *testing.T) {
	r := overMonth(t)
	r.Pieces = append(r.Pieces, flat("other", 3, 5))
	ids := func(r Request) map[string]bool {
		out := map[string]bool{}
		for line := range strings.SplitSeq(strings.ReplaceAll(mustPlan(t, r).Calendar(), "\r\n ", ""), "\r\n") {
			if strings.HasPrefix(line, "UID:") {
				if out[line] {
					t.Errorf("%s stands twice", line)
				}
				out[line] = true
			}
		}
		return out
	}
	a := ids(r)
	r.Now = r.Now.Add(30 * time.Hour)
	b := ids(r)
	for id := range b {
		if !a[id] {
			t.Errorf("%s is new", id)
		}
	}
	if len(a) == 0 || len(a) != len(b) {
		t.Errorf("%d and %d events", len(a), len(b))
	}
}

type readEvent struct {
	UID, Summary, Description string
	Start, End, Stamp         time.Time
	Alarms                    []struct {
		Action string
		Before *float64
		At     *time.Time
	}
}

// An independent parser (ical.js, strict) finds every step at its instants, with its alarms.
func TestCalendar_AnIndependentParserReadsIt(t *testing.T) {
	for name, now := range map[string]string{"in time": "2026-04-20T09:00:00+02:00", "too late": "2026-04-28T09:00:00+02:00"} {
		r := overMonth(t)
		r.Now = mustTime(t, now)
		r.Pieces = append(r.Pieces, flat("zweites Stück", 3, 5))
		p := mustPlan(t, r)
		events := parse(t, p.Calendar())
		if len(events) != len(p.Steps) {
			t.Fatalf("%s: %d events for %d steps", name, len(events), len(p.Steps))
		}
		for i, s := range p.Steps {
			e := events[i]
			if !e.Start.Equal(s.At.Truncate(time.Second)) || !e.Stamp.Equal(r.Now) || !e.End.After(e.Start) {
				t.Errorf("%s: %s from %v to %v, want from %v", name, e.UID, e.Start, e.End, s.At)
			}
			if e.Summary != title(s, 2) || e.Description != strings.Join(p.notes(s), "\n") {
				t.Errorf("%s: %q %q", e.UID, e.Summary, e.Description)
			}
			if len(e.Alarms) == 0 || e.Alarms[0].Before == nil || *e.Alarms[0].Before != -900 {
				t.Errorf("%s: alarms %+v, want one 15 minutes before", e.UID, e.Alarms)
			}
			for _, a := range e.Alarms {
				if a.Action != "DISPLAY" || a.At != nil && !a.At.Equal(s.Latest.Add(-15*time.Minute).Truncate(time.Second)) {
					t.Errorf("%s: alarm %+v", e.UID, a)
				}
			}
		}
	}
}

func parse(t *testing.T, calendar string) []readEvent {
	t.Helper()
	dir := filepath.Join("testdata", "calendar")
	testrig.NodePackages(t, dir)
	read := exec.CommandContext(t.Context(), testrig.Program(t, "node"), "read.mjs")
	var problem bytes.Buffer
	read.Dir, read.Stdin, read.Stderr = dir, strings.NewReader(calendar), &problem
	out, err := read.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, problem.String())
	}
	var found struct {
		Version string
		Events  []readEvent
	}
	if err := json.Unmarshal(out, &found); err != nil || found.Version != "2.0" {
		t.Fatalf("version %q, %v", found.Version, err)
	}
	return found.Events
}
