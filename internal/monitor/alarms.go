package monitor

import (
	"maps"
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// alarmed turns changes into effects. Pending is nobody's business yet.
func (m *State) alarmed(changes []alarm.Change, current bool) []Effect {
	var out []Effect
	for _, c := range changes {
		id, to := c.Alarm.ID, c.Alarm.State
		if to == alarm.Pending || to == alarm.Normal && c.From == alarm.Pending {
			continue
		}
		notify := c.Call && current
		switch to {
		case alarm.Active:
			m.beside[id] = m.sameCause(c.Alarm)
			notify = notify && !m.beside[id]
			m.told[id] = notify
			c.Alarm.Told = notify
		case alarm.Returned, alarm.Normal:
			notify = notify && m.told[id]
			c.Alarm.Told = m.told[id]
			delete(m.told, id)
			delete(m.beside, id)
		default:
			c.Alarm.Told = m.told[id]
		}
		out = append(out, Effect{Alarm: &Alarmed{Change: c, Notify: notify}})
	}
	return out
}

// sameCause reports whether people have been told of the same cause: one slow fire makes every piece late, and two cooks
// may share a pit.
func (m *State) sameCause(a alarm.Alarm) bool {
	f := m.find(cook.ID(a.Cook))
	if f == nil {
		return false
	}
	for _, g := range m.fires {
		late := a.Kind == alarm.ServeAtRisk && g == f
		pit := a.Kind.OfPit() && g != f && f.sharesPit(g)
		if (late || pit) && slices.ContainsFunc(g.conditions(), func(c *alarm.Condition) bool {
			other := c.Alarm()
			return other.Kind == a.Kind && other.ID != a.ID && c.Standing() && m.told[other.ID]
		}) {
			return true
		}
	}
	return slices.ContainsFunc(f.conditions(), func(c *alarm.Condition) bool {
		other := c.Alarm()
		return other.Piece == a.Piece && tooSlow(a, other) && c.Standing() && m.told[other.ID]
	})
}

// tooSlow reports whether two alarms of one piece say that it warms up too slowly, so that one message is enough: the rule of thumb
// and the forecast keep quiet beside each other, and what is measured of an intact piece beside the rule of thumb.
func tooSlow(a, told alarm.Alarm) bool {
	switch a.Kind {
	case alarm.DangerZone:
		return told.Kind == alarm.ComeUpRisk || told.Kind == alarm.ComeUp
	case alarm.ComeUpRisk:
		return told.Kind == alarm.DangerZone
	case alarm.ComeUp:
		return told.Kind == alarm.DangerZone && !a.Priority.Above(told.Priority)
	}
	return false
}

// overdue tells of alarms that were raised by old readings and still stand now that the readings are current.
func (m *State) overdue() []Effect {
	var out []Effect
	for _, f := range m.fires {
		if f.waits || !f.current(m, m.asOf(), f.frontier) {
			continue
		}
		for _, c := range m.of(f) {
			out = append(out, m.tell(c)...)
		}
	}
	for _, s := range m.stages {
		if slices.ContainsFunc(s.watch.Probes, func(id cook.ProbeID) bool { p := m.probes[id]; return p != nil && m.tells(p, s.at()) }) {
			for _, c := range s.limit.Conditions() {
				out = append(out, m.tell(c)...)
			}
		}
	}
	return out
}

func (m *State) tell(c *alarm.Condition) []Effect {
	a := c.Alarm()
	if a.State != alarm.Active || m.told[a.ID] || m.beside[a.ID] {
		return nil
	}
	if m.sameCause(a) {
		m.beside[a.ID] = true
		return nil
	}
	m.told[a.ID], a.Told = true, true
	return []Effect{{Alarm: &Alarmed{Change: alarm.Change{Alarm: a, From: a.State, Because: "still so", Call: true}, Notify: true}}}
}

// orphans ends restored alarms that nothing watches any more. A cook that waits to be counted may still find its own.
func (m *State) orphans() []Effect {
	if slices.ContainsFunc(m.fires, func(f *fire) bool { return f.waits }) {
		return nil
	}
	var changes []alarm.Change
	for _, id := range slices.Sorted(maps.Keys(m.kept)) {
		a := m.kept[id]
		delete(m.kept, id)
		if a.State == alarm.Normal {
			continue
		}
		from := a.State
		a.State, a.Changed, a.ShelvedUntil = alarm.Normal, m.now, time.Time{}
		changes = append(changes, alarm.Change{Alarm: a, From: from, Because: "what it was about is not watched any more"})
	}
	return m.alarmed(changes, false)
}
