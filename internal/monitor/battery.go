package monitor

import (
	"maps"
	"math"
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// device is something with a battery: a probe, or a board with probes on it.
type device struct {
	level cook.Battery
	kept  cook.Battery // as Batteries gives it
	watch *alarm.Battery
}

// Fault is why a probe measures nothing, as its conversion or its board says.
type Fault struct {
	Since time.Time // when it was first told
	What  string    // "open circuit"
	Do    string    // "look at plug and cable"; empty: nobody says
}

// fault of a probe stands until a reading comes that is newer, or its board says that it measures.
type fault struct {
	Fault
	at time.Time // when it was last told
}

// Faulty is what is kept over a restart of why a probe measures nothing.
type Faulty struct {
	Probe cook.ProbeID `json:"probe"`
	Since time.Time    `json:"since"`
	What  string       `json:"what"`
	Do    string       `json:"do,omitempty"`
}

// Faults gives what is to be kept of the probes that measure nothing, by name.
func (m *State) Faults() []Faulty {
	out := []Faulty{}
	for _, p := range m.byName() {
		if f := p.fault; f != nil {
			out = append(out, Faulty{p.id, f.Since, f.What, f.Do})
		}
	}
	return out
}

// RestoreFaults takes over after a start what Faults gave before: what is told again since then has stood since then.
func (m *State) RestoreFaults(kept []Faulty) {
	for _, f := range kept {
		if m.room(f.Probe) {
			m.probe(f.Probe, m.o.Roles[f.Probe]).fault = &fault{Fault{f.Since, f.What, f.Do}, f.Since}
		}
	}
}

// Choices of this project.
const (
	keepEvery    = 10 * time.Minute // a charge that stays is written down this often
	keepStep     = 0.5              // percent: one that changes by this much, at once
	chargeTells  = 24 * time.Hour   // a charge of yesterday still says something about now
	maxBatteries = 100              // a stranger who makes up devices with empty batteries is told of this often
)

// deviceKey tells the board "shed" from the probe "shed".
func deviceKey(name string, board bool) string {
	if board {
		return "board/" + name
	}
	return "probe/" + name
}

// Batteries gives what is to be kept over a restart, by device. A charge that stays is given anew every ten minutes only.
func (m *State) Batteries() []cook.Battery {
	out := make([]cook.Battery, 0, len(m.devices))
	for _, d := range m.byDevice() {
		out = append(out, d.kept)
	}
	return out
}

// RestoreBatteries takes over after a start what Batteries gave before. Nobody is told anew.
func (m *State) RestoreBatteries(levels []cook.Battery) {
	for _, b := range levels {
		m.battery(b).kept = b
	}
}

// battery makes the device known, with this charge.
func (m *State) battery(b cook.Battery) *device {
	key := deviceKey(b.Device, b.Board)
	d := m.devices[key]
	if d == nil {
		d = &device{watch: alarm.NewBattery(b, m.o.Settings)}
		m.adopt(d.watch.Conditions())
		m.devices[key] = d
	}
	d.level = b
	return d
}

// SetBattery takes what a device says about its battery. What is older than what is known is left.
func (m *State) SetBattery(b cook.Battery, now time.Time) []Effect {
	m.advance(now)
	return m.setBattery(b)
}

func (m *State) setBattery(b cook.Battery) []Effect {
	if b.At.After(m.now.Add(future)) {
		b.At = m.now // its clock is wrong
	}
	old := m.devices[deviceKey(b.Device, b.Board)]
	if old == nil && len(m.devices) >= maxBatteries || old != nil && b.At.Before(old.level.At) {
		return nil
	}
	d := m.battery(b)
	at := b.At
	if at.IsZero() {
		at = m.now
	}
	out := m.alarmed(d.watch.Observe(at, b), m.now.Sub(at) < chargeTells)
	if d.kept.Device == "" || math.Abs(b.Percent-d.kept.Percent) >= keepStep || b.At.Sub(d.kept.At) >= keepEvery || !slices.Equal(b.Probes, d.kept.Probes) {
		d.kept = b
	}
	return out
}

// byDevice lists the devices in a fixed order.
func (m *State) byDevice() []*device {
	out := make([]*device, 0, len(m.devices))
	for _, key := range slices.Sorted(maps.Keys(m.devices)) {
		out = append(out, m.devices[key])
	}
	return out
}

// batteryOf is the battery that feeds a probe: its own, or its board's; nil when none is known.
func (m *State) batteryOf(id cook.ProbeID) *cook.Battery {
	d := m.devices[deviceKey(string(id), false)]
	if d == nil {
		d = m.devices[deviceKey(m.boardOf[id], true)]
	}
	if d == nil {
		return nil
	}
	level := d.level
	return &level
}

// SetFault takes why a probe measures nothing, told at f.Since.
func (m *State) SetFault(id cook.ProbeID, f Fault, now time.Time) []Effect {
	m.advance(now)
	at := f.Since
	if !m.room(id) {
		return nil
	}
	p := m.probe(id, m.o.Roles[id])
	if p.last.Time.After(at) || p.fault != nil && p.fault.at.After(at) {
		return nil
	}
	if p.fault != nil {
		f.Since = p.fault.Since
	}
	p.fault = &fault{f, at}
	return m.listen()
}

// clearFault takes back what was told before that time.
func (p *probe) clearFault(at time.Time) {
	if p.fault != nil && !at.Before(p.fault.at) {
		p.fault = nil
	}
}
