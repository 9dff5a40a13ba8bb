package monitor

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/testrig"
)

// TestBadNight writes what people are sent in a night in which much goes wrong, word for word, and what is only listed.
// 21:30 and 23:40 lid opened; 02:10 the fire fades, somebody acknowledges at 02:45 and feeds it; 04:00 the shoulder's probe
// dies; 05:00 the flat's probe slips out and is put back at 05:20; the flat stalls past the serving hour 11:00; the pit
// probe loses contact from 09:00 to 09:30; 14:40 the broker goes away for ten minutes.
func TestBadNight(t *testing.T) {
	c := supper(flat(), cook.Piece{ID: "shoulder", Cut: "pork_shoulder", Target: 94})
	c.ServeBy = minute(15 * 60)
	n := newNight(t, c)
	readings := slices.Concat(
		mustRead(t, "pit", 15*time.Second, "15 +3/min x30, 107 hold 1h, to 82 in 2m, to 105 in 11m, 107 hold 1h57m, to 80 in 2m, to 104 in 12m, 106 hold 2h16m, "+
			"-0.6/min x60, +1.5/min x24, 107 hold 5h26m, 107 hold 30m, 107 hold 9h"),
		mustRead(t, "flat", 15*time.Second, "5 +0.15/min x420, 68 hold 2h, to 104 in 3m, 104 hold 17m, to 68 in 3m, 68 hold 4h, +0.1/min x250, 93 hold 2h"),
		mustRead(t, "shoulder", 15*time.Second, "4 +0.13/min x480"))
	for i, r := range readings {
		if r.Probe == "pit" && !r.Time.Before(minute(13*60)) && r.Time.Before(minute(13*60+30)) {
			readings[i].Celsius, readings[i].Quality = -127, cook.Open
		}
	}
	split := func(from, to float64) (out []cook.Reading) {
		for _, r := range readings {
			if !r.Time.Before(minute(from)) && r.Time.Before(minute(to)) {
				out = append(out, r)
			}
		}
		return out
	}
	n.play(split(0, 405))
	n.acknowledge("pit-falling/1")
	n.play(split(405, 1120))
	n.do(n.m.SetIntake(IntakeView{}, n.now))
	n.until(minute(1130))
	n.do(n.m.SetIntake(IntakeView{Connected: true}, n.now))
	n.play(split(1130, 1200))

	var b strings.Builder
	for i, e := range n.heard {
		if e.Alarm == nil {
			continue
		}
		what := "listed"
		if e.Alarm.Notify {
			what = "SENT  "
		}
		a := e.Alarm.Alarm
		fmt.Fprintf(&b, "%s %s %-6s %s %s: %s\n", n.times[i].Format("15:04:05"), what, a.Priority, a.ID, a.State, e.Alarm.Because)
	}
	testrig.Golden(t, "bad-night.txt", b.String())
}

func (n *night) acknowledge(id alarm.ID) {
	n.tb.Helper()
	effects, err := n.m.Acknowledge(id, "the cook", n.now)
	if err != nil {
		n.tb.Fatal(err)
	}
	n.do(effects)
}
