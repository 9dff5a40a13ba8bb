package notify

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/internal/alarm"
)

// Whatever happens to alarms, in whatever order and however often the daemon restarts: no message is there twice, High is
// never held, nobody is called after an acknowledgement or an end, and what is over was told to have begun.
func TestCore_Invariants(t *testing.T) {
	priorities := []alarm.Priority{alarm.Notice, alarm.Low, alarm.Medium, alarm.High}
	states := []alarm.State{alarm.Active, alarm.Active, alarm.Acked, alarm.Shelved, alarm.Returned, alarm.Normal}
	rapid.Check(t, func(t *rapid.T) {
		l := household()
		p := newPlay(t, l, evening)
		stands := map[alarm.ID]alarm.Alarm{}
		begun := map[string]bool{}
		for range rapid.IntRange(1, 30).Draw(t, "changes") {
			p.now = p.now.Add(time.Duration(rapid.IntRange(1, 3*3600).Draw(t, "seconds")) * time.Second)
			p.fails = map[string]bool{"mail": rapid.Bool().Draw(t, "mail fails"), "phone": rapid.Bool().Draw(t, "phone fails")}
			id := alarm.ID(rapid.SampledFrom([]string{"a", "b", string(DeliveryID)}).Draw(t, "id"))
			a := stands[id]
			to := rapid.SampledFrom(states).Draw(t, "to")
			if to == alarm.Active && a.State != alarm.Shelved && a.State != alarm.Active || a.ID == "" {
				a, to = alarm.Alarm{ID: id, Raised: p.now}, alarm.Active
			}
			if to == alarm.Active {
				a.Priority = rapid.SampledFrom(priorities).Draw(t, "priority")
			}
			a.State, a.Because = to, "It is so."
			stands[id] = a
			p.step(Fact{Alarm: a, Because: "It was so.", Tell: rapid.Bool().Draw(t, "tell")})
			for range rapid.IntRange(0, 3).Draw(t, "steps") {
				p.now = p.now.Add(time.Duration(rapid.IntRange(0, 1200).Draw(t, "later")) * time.Second)
				p.step()
			}
			check(t, p, stands, begun)
		}
	})
}

func check(t *rapid.T, p *play, stands map[alarm.ID]alarm.Alarm, begun map[string]bool) {
	for _, m := range p.sent {
		for _, it := range m.Items {
			mark := fmt.Sprint(m.Path, it.Alarm.ID, it.Alarm.Raised.UnixMicro())
			switch m.For {
			case Raised, Again:
				begun[mark] = true
				if s := stands[it.Alarm.ID].State; s != alarm.Active {
					t.Fatalf("%s for %s, which is %s", m.For, it.Alarm.ID, s)
				}
				if it.Alarm.ID == DeliveryID && p.fails[m.Path] {
					t.Fatalf("%s tells of itself", m.Path)
				}
			case Over, Acknowledged:
				if !begun[mark] {
					t.Fatalf("%s of %s by %s, which was not told that it began", m.For, it.Alarm.ID, m.Path)
				}
			case Held:
				if it.Firing && it.Alarm.Priority == alarm.High {
					t.Fatalf("%s was held although it is high", it.Alarm.ID)
				}
				begun[mark] = true
			}
		}
	}
	p.sent = nil
}
