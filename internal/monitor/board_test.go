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
