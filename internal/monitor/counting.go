package monitor

import (
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// Counting is a cook that is counted again from its stored readings: after a start, after late readings, or when its probes changed.
// It is counted beside the live one, as few readings at a time as the caller likes: the live one goes on meanwhile, or where it was not
// counted yet waits, and Done puts the counted one in its place. What is given up changes nothing. It belongs to the goroutine of its State.
type Counting struct {
	m       *State
	beside  *State // holds nothing but the cook and its probes
	old, f  *fire
	instant []cook.Reading // of one moment, not applied yet
}

// future is how far ahead of the daemon's clock a reading can be and still be believed.
const future = 11 * time.Minute

// Count begins to count a running cook again; nil if there is none. First Add what was committed up to through, then Later what the State
// was given since, then Done. Forecasts later than forecasted (the newest that is kept; zero for none) are made and kept. Alarms
// keep the state they have; what the readings show beyond that comes out of Done as changes.
func (m *State) Count(id cook.ID, through int64, forecasted, now time.Time) *Counting {
	m.advance(now)
	old := m.find(id)
	if old == nil {
		return nil
	}
	c := &Counting{m: m, beside: New(m.o), old: old}
	c.beside.track = m.track
	c.beside.now, c.beside.uptime = m.now, m.uptime
	for id, p := range m.probes {
		if p.fire != nil && p.fire != old { // another cook's, unless it is to be taken over
			c.beside.probe(id, m.o.Roles[id]).fire = p.fire
		}
	}
	c.f = c.beside.newFire(old.stored)
	c.beside.fires = []*fire{c.f}
	c.f.keptAt, c.f.rehearse, c.f.counted = forecasted, true, through
	if forecasted.After(now.Add(future)) { // kept while the clock was ahead
		c.f.keptAt = now
	}
	old.counting = true
	return c
}

// keepUp brings what the counted cook shares with the live state up to date.
func (c *Counting) keepUp() {
	c.beside.now, c.beside.uptime, c.beside.stages = c.m.now, c.m.uptime, c.m.stages
	if c.old.keptAt.After(c.f.keptAt) { // the live one made these forecasts meanwhile
		c.f.keptAt = c.old.keptAt
	}
}

// Add takes the next stored reading in outlook.Order, and gives the forecasts that it brings about. Only the readings of the instant at hand
// are held.
func (c *Counting) Add(r cook.Reading) []Effect {
	c.keepUp()
	if !c.f.wants(r) || r.Time.After(c.m.now.Add(future)) || !c.beside.room(r.Probe) {
		return nil
	}
	var out []Effect
	if len(c.instant) > 0 && r.Time.After(c.instant[0].Time) {
		out = c.flush()
	}
	c.hear(r)
	if !c.beside.surplus(c.f, c.beside.probes[r.Probe]) {
		c.instant = append(c.instant, r)
	}
	return out
}

func (c *Counting) hear(r cook.Reading) {
	p := c.beside.probe(r.Probe, c.m.o.Roles[r.Probe])
	if p.fire == nil {
		c.beside.enlist(c.f, r.Probe)
	}
	p.note(r)
}

func (c *Counting) flush() []Effect {
	out := c.f.apply(c.beside, c.instant)
	c.instant = c.instant[:0]
	return out
}

// Later takes what was committed after the readings that Add took, in the order of the commits.
func (c *Counting) Later(readings []Committed) []Effect {
	c.keepUp()
	out := c.flush()
	for _, r := range readings {
		if c.beside.room(r.Probe) {
			c.hear(r.Reading)
			out = append(out, c.f.take(c.beside, r)...)
		}
	}
	return append(out, c.f.drain(c.beside)...)
}

// Done puts the counted cook in the place of the live one. It does nothing if that has ended.
func (c *Counting) Done(now time.Time) []Effect {
	m, f := c.m, c.f
	m.advance(now)
	c.keepUp()
	at := slices.Index(m.fires, c.old)
	if at < 0 {
		return nil
	}
	out := c.flush()
	before := m.standing(c.old)
	m.failures += c.beside.failures
	m.delist(c.old)
	m.fires[at] = f
	f.lag, f.took, f.rehearse = c.old.lag, c.old.took, false
	for _, counted := range c.beside.byName() {
		c.handOver(counted)
	}
	for _, p := range m.byName() {
		if p.fire == nil {
			m.enlist(f, p.id)
		}
	}
	out = append(out, m.reconcile(f, before)...)
	return append(out, f.foresee(m, false)...)
}

// handOver gives the live probe what was counted of it.
func (c *Counting) handOver(counted *probe) {
	if counted.fire != c.f {
		return
	}
	p := c.m.probe(counted.id, counted.role)
	if p.last.Time.Before(counted.last.Time) {
		p.last, p.gaps = counted.last, counted.gaps
	}
	if p.fire != nil && (counted.piece == "" || p.fire.stored.ID > c.f.stored.ID) {
		return // a newer cook has it now
	}
	p.fire, p.piece, p.watch = c.f, counted.piece, counted.watch
}

// standing gives the cook's alarms as they are, by id.
func (m *State) standing(f *fire) map[alarm.ID]alarm.Alarm {
	out := map[alarm.ID]alarm.Alarm{}
	for _, c := range m.of(f) {
		out[c.Alarm().ID] = c.Alarm()
	}
	return out
}
