package monitor

import (
	"math"
	"slices"
	"strings"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
)

// Snapshot is the state as it is now, sharing nothing that changes later.
func (m *State) Snapshot() Snapshot {
	s := Snapshot{Now: m.now, Intake: m.way, Failures: m.failures, QuietUntil: m.quietUntil()}
	s.Intake.Trouble = m.trouble()
	waits := m.waits()
	s.Intake.Waiting, s.Intake.Waited, s.Intake.Late = max(0, m.backlog.through-m.backlog.applied), waits.Waited, m.intake.Late(waits)
	for _, f := range m.fires {
		s.Cooks = append(s.Cooks, f.view(m))
	}
	s.Stages = m.viewStages()
	for _, p := range m.byName() {
		s.Probes = append(s.Probes, m.viewProbe(p))
	}
	for _, c := range m.conditions() {
		if a := c.Alarm(); a.State != alarm.Normal && a.State != alarm.Pending {
			a.Told = m.told[a.ID]
			s.Alarms = append(s.Alarms, a)
		}
	}
	slices.SortStableFunc(s.Alarms, func(a, b alarm.Alarm) int {
		switch {
		case a.Priority.Above(b.Priority):
			return -1
		case b.Priority.Above(a.Priority):
			return 1
		}
		if c := b.Raised.Compare(a.Raised); c != 0 {
			return c
		}
		return strings.Compare(string(a.ID), string(b.ID))
	})
	return s
}

func (f *fire) view(m *State) CookView {
	v := CookView{Stored: f.stored, NewestAt: f.frontier}
	var all []estimator.Forecast
	for _, p := range f.pieces {
		warm := m.warmOf(p)
		w := PieceView{Piece: p.Piece, Forecast: p.forecast, Forecasted: p.known, DangerZone: warm.Used, DangerUnseen: warm.Unseen, ServeChance: math.NaN(), Advice: p.advice.best}
		if p.known && !f.stored.ServeBy.IsZero() {
			w.ServeChance = p.forecast.ReadyBy(f.stored.ServeBy)
		}
		v.Pieces = append(v.Pieces, w)
		if p.known && (!p.off || p.forecast.State == estimator.Ready) {
			all = append(all, p.forecast)
		}
	}
	if len(all) > 0 {
		v.AllReady = estimator.AllReady(all)
	}
	return v
}

func (m *State) viewProbe(p *probe) ProbeView {
	v := ProbeView{ID: p.id, Role: p.role, Last: p.last, Silent: m.silent(p), Interval: p.interval(), Piece: p.piece}
	if p.fire != nil {
		v.Cook, v.Role = p.fire.stored.ID, "pit"
		if p.piece != "" {
			v.Role = "piece"
		}
	}
	v.Board = m.boardOf[p.id]
	_, v.Offline = m.offline(p.id)
	if v.Battery = m.batteryOf(p.id); v.Battery != nil {
		v.Low = m.o.Settings.Battery.Low(v.Battery.Percent)
	}
	if p.fault != nil {
		f := p.fault.Fault
		v.Fault = &f
	}
	v.Suspect = p.watch != nil && p.watch.Suspect()
	if v.Findings = p.sense.Findings(p.id); p.fire != nil {
		v.Findings = p.fire.sense.Findings(p.id)
	}
	return v
}
