package monitor

import (
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

// Two of three probes are wired to a board that goes. Its loss is one cause and one message.
func TestBoard_ItsSilenceIsToldOnce(t *testing.T) {
	p := flat()
	p.Probes = []cook.ProbeID{"flat", "point"}
	n := newNight(t, supper(p))
	n.do(n.m.SetBoard(Board{Name: "shed", Online: true, Probes: []cook.ProbeID{"flat", "point"}}, n.now))
	n.play(slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 20m"),
		mustRead(t, "flat", 30*time.Second, "20 +0.4/min x20"), mustRead(t, "point", 30*time.Second, "21 +0.4/min x20")))
	n.do(n.m.SetBoard(Board{Name: "shed"}, n.now))
	for m := 21.0; m < 60; m += 0.5 {
		n.until(minute(m))
		r := mustRead(t, "pit", 30*time.Second, "107 hold 30s")[:1]
		r[0].Time = minute(m)
		n.arrive(r...)
	}
	var told []string
	for _, e := range n.heard {
		if e.Alarm != nil && e.Alarm.Notify && strings.HasPrefix(string(e.Alarm.Alarm.ID), "probe-silent") {
			told = append(told, e.Alarm.Alarm.Because)
		}
	}
	if len(told) != 1 || !strings.Contains(told[0], "board shed has been offline since 20:") {
		t.Errorf("told %q, want one message that names the board", told)
	}
	for _, v := range n.m.Snapshot().Probes {
		if (v.ID != "pit") != (v.Board == "shed" && !v.Offline.IsZero()) {
			t.Errorf("%s: board %q offline since %v", v.ID, v.Board, v.Offline)
		}
	}
	n.do(n.m.SetBoard(Board{Name: "shed", Online: true}, n.now))
	if v := n.m.Snapshot().Probes[0]; v.ID != "flat" || !v.Offline.IsZero() {
		t.Errorf("back online: %+v", v)
	}
}

// The daemon starts anew while a board with two of three probes is away. Whatever the broker still says of it – that it is offline,
// without its probes; nothing at all; or that it went long ago – one message names the board.
func TestBoard_IsKnownAfterARestart(t *testing.T) {
	p := flat()
	p.Probes = []cook.ProbeID{"flat", "point"}
	before := newNight(t, supper(p))
	before.do(before.m.SetBoard(Board{Name: "shed", Online: true, Probes: []cook.ProbeID{"flat", "point"}}, before.now))
	kept := before.m.Boards()
	if len(kept) != 1 || !slices.Equal(kept[0].Probes, []cook.ProbeID{"flat", "point"}) || !kept[0].Gone.IsZero() {
		t.Fatalf("kept %+v", kept)
	}
	gone := slices.Clone(kept)
	gone[0].Gone = minute(-90)
	for name, c := range map[string]struct {
		kept []Wired
		says bool // the broker has kept that it is offline
		want string
	}{
		"retained":                 {kept, true, "board shed was found offline at 20:01"},
		"nothing":                  {kept, false, "board shed has not been heard of since the start of the daemon at 20:00"},
		"gone before":              {gone, false, "board shed has been offline since 18:30"},
		"gone before, and says so": {gone, true, "board shed has been offline since 18:30"},
	} {
		n := newNight(t, supper(p))
		n.m.RestoreBoards(c.kept, n.now)
		for m := 0.0; m < 60; m += 0.5 {
			n.until(minute(m))
			if m == 1 && c.says {
				n.do(n.m.SetBoard(Board{Name: "shed"}, n.now))
			}
			r := mustRead(t, "pit", 30*time.Second, "107 hold 30s")[:1]
			r[0].Time = minute(m)
			n.arrive(r...)
		}
		var told []string
		for _, e := range n.heard {
			if e.Alarm != nil && e.Alarm.Notify {
				told = append(told, e.Alarm.Alarm.Because)
			}
		}
		if len(told) != 1 || !strings.Contains(told[0], c.want) {
			t.Errorf("%s: told %q, want one message with %q", name, told, c.want)
		}
	}
}

// One silent probe of a board whose other probe speaks is no lost board, though the board itself has not been heard of.
func TestBoard_ThatSpeaksThroughAProbeIsNotLost(t *testing.T) {
	p := flat()
	p.Probes = []cook.ProbeID{"flat", "point"}
	n := newNight(t, supper(p))
	n.m.RestoreBoards([]Wired{{Name: "shed", Probes: []cook.ProbeID{"flat", "point"}}}, n.now)
	n.play(slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 40m"), mustRead(t, "flat", 30*time.Second, "20 +0.4/min x40")))
	for _, e := range n.heard {
		if e.Alarm != nil && strings.Contains(e.Alarm.Alarm.Because, "shed") {
			t.Errorf("told %q", e.Alarm.Alarm.Because)
		}
	}
}
