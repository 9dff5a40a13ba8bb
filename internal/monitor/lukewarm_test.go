package monitor

import (
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

// danger gives the clock of the danger zone that the pages show of a piece.
func danger(t *testing.T, m *State) Clock {
	t.Helper()
	for _, s := range m.Snapshot().Stages {
		if i := slices.IndexFunc(s.Clocks, func(c Clock) bool { return c.Name == ClockDangerZone }); i >= 0 {
			return s.Clocks[i]
		}
	}
	t.Fatal("no clock of the danger zone")
	return Clock{}
}

// said are the texts with which an alarm was raised.
func (n *night) said(id string) []string {
	var out []string
	for _, e := range n.heard {
		if e.Alarm != nil && string(e.Alarm.Alarm.ID) == id && e.Alarm.Alarm.State == "active" {
			out = append(out, e.Alarm.Because)
		}
	}
	return out
}

// From 5 to 57 °C at 0.2 K/min take 260 minutes; 40 of them nobody measured, more than the half hour over which the safety rules join
// readings. Pages, API and alarm say the same of it: 220 minutes, and perhaps 40 more.
func TestDangerZone_OneClockForPageAlarmAndAPI(t *testing.T) {
	piece := flat()
	piece.Intact = false
	n := newNight(t, supper(piece))
	core := slices.DeleteFunc(mustRead(t, "flat", 30*time.Second, "5 +0.2/min x300"), func(r cook.Reading) bool {
		return r.Time.After(minute(100)) && r.Time.Before(minute(140))
	})
	n.play(slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 300m"), core))
	v, page := n.m.Snapshot().Cooks[0].Pieces[0], danger(t, n.m)
	if v.DangerZone != page.Used || v.DangerUnseen != page.Unseen {
		t.Errorf("the API has %v and %v, the page %v and %v", v.DangerZone, v.DangerUnseen, page.Used, page.Unseen)
	}
	if d := v.DangerZone - 220*time.Minute; d < -time.Minute || d > time.Minute || v.DangerUnseen != 40*time.Minute {
		t.Errorf("lukewarm for %v, unseen %v; want 220 and 40 min", v.DangerZone, v.DangerUnseen)
	}
	said := n.said("danger-zone/1/flat")
	if len(said) != 1 || !strings.Contains(said[0], "for 3 h 21 min as measured and perhaps for the 40 min without readings") {
		t.Errorf("said %q", said)
	}
}

// A piece that comes off half raw is watched on; one that was cooked has its cooling limits instead, with their own alarm.
func TestDangerZone_OffTheFire(t *testing.T) {
	for name, c := range map[string]struct {
		core   string
		off    float64
		wanted bool
	}{
		"half raw": {"5 +0.2/min x175, 40 hold 3h", 175, true},
		"cooked":   {"5 +0.5/min x176, 93 hold 10m, -0.4/min x180, 21 hold 4h", 186, false},
	} {
		piece := flat()
		piece.Intact = false
		n := newNight(t, supper(piece))
		core := mustRead(t, "flat", 30*time.Second, c.core)
		until := func(m float64, after bool) []cook.Reading {
			return slices.DeleteFunc(slices.Clone(core), func(r cook.Reading) bool { return r.Time.After(minute(m)) != after })
		}
		n.play(slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 170m"), until(c.off, false)))
		n.cook.Events = append(n.cook.Events, cook.Event{Time: minute(c.off), Kind: cook.EventPieceOff, Piece: "flat"})
		n.do(n.m.CookChanged(n.cook, n.now))
		n.play(until(c.off, true))
		said := n.said("danger-zone/1/flat")
		if c.wanted && (len(said) != 1 || !strings.Contains(said[0], "for 4 h 01 min, now 40.0 °C; common practice is at most 4 h. It came off before it was cooked")) || !c.wanted && len(said) > 0 {
			t.Errorf("%s: said %q", name, said)
		}
		if page := danger(t, n.m); page.Used < 4*time.Hour {
			t.Errorf("%s: the page's clock says %v", name, page.Used)
		}
	}
}
