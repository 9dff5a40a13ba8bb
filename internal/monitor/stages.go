package monitor

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

// StageKey tells one stage of one lot from all others.
type StageKey struct {
	Lot   cook.LotID
	Stage cook.Stage
	Piece cook.PieceID
	From  int64 // microseconds: the same stage may run twice
}

func keyOf(w cook.StageWatch) StageKey {
	return StageKey{w.Lot, w.Stage, w.Piece, w.From.UnixMicro()}
}

// Deviation is a limit of a lot's stage that was missed, or of which it is not known that it was met. It is given out once;
// after a restart it comes again, so whoever keeps it looks whether it is kept: Lot, Stage, Piece, Verdict.Set, Verdict.Rule,
// Verdict.Outcome and From are the same then.
type Deviation struct {
	Watch   cook.StageWatch
	Verdict safety.Verdict
	From    time.Time // when it began
}

// Judged is how a lot's stage that has ended met its limits, from what was measured live.
type Judged struct {
	Watch    cook.StageWatch
	Verdicts []safety.Verdict
}

// stage is a stage that is being watched.
type stage struct {
	watch  cook.StageWatch
	cook   cook.ID // the running cook that implies it; 0 = a lot's
	clocks []*clocks
	limit  *alarm.Limit
	set    string // of the dwell table
	chills string // the cooling set
	filed  map[string]bool
	judged time.Time // the whole minute of the newest judgement
	late   bool      // readings came behind newer ones
	lateAt time.Duration
}

// newStage sets up the clocks that the stage needs, by the policy.
func (m *State) newStage(w cook.StageWatch, id cook.ID) *stage {
	p := m.o.Safety
	s := &stage{watch: w, cook: id, filed: map[string]bool{}}
	var table safety.Table
	s.set, table = p.Table(w.Cut, w.Intact)
	var rule safety.CoolingRule
	s.chills, rule = p.Cooling()
	for _, probe := range w.Probes {
		if !s.measures(probe, m.o.Roles[probe]) {
			continue
		}
		c := &clocks{id: probe, level: thermal.Celsius(math.NaN())}
		switch w.Stage {
		case cook.StageSmoke:
			c.cooking, c.warm = safety.NewCooking(table, w.Intact, p.Settings), safety.NewLukewarm(p.Settings)
		case cook.StageHold, cook.StageChill:
			c.chill = safety.NewChilling(rule, p.Settings)
		}
		if r, ok := p.Keeps(w.Stage); ok {
			c.keep = safety.NewKeeping(r, p.Settings)
		}
		s.clocks = append(s.clocks, c)
	}
	s.limit = m.newLimit(s)
	return s
}

// measures reports whether a probe tells of the stage's meat, or of its cooler: the air of a pit or of a cooler is no meat.
func (s *stage) measures(id cook.ProbeID, role cook.Role) bool {
	if id.IsPit() || role == cook.RolePit || role == cook.RoleCO || role == cook.RoleAmbient {
		return false
	}
	return s.coolerStage() || role != cook.RoleCooler && role != cook.RoleHolding
}

// newLimit makes the alarms of a stage, with the priorities of its kind.
func (m *State) newLimit(s *stage) *alarm.Limit {
	w, set := s.watch, m.o.Settings
	about := alarm.Alarm{Cook: int64(s.cook), Piece: string(w.Piece)}
	name := fmt.Sprintf("%s/%s", w.Lot, w.Piece)
	if s.cook != 0 {
		name = fmt.Sprintf("%d/%s", s.cook, w.Piece)
	}
	if len(w.Probes) > 0 {
		about.Probe = string(w.Probes[0])
	}
	switch w.Stage {
	case cook.StageSmoke:
		return alarm.NewLimit(alarm.ComeUp, alarm.ComeUpRisk, name, about, w.Intact, set.ComeUp)
	case cook.StageChill:
		return alarm.NewLimit(alarm.Cooling, alarm.CoolingRisk, name, about, w.Intact, set.Cooling)
	case cook.StageHold:
		if s.cook != 0 { // what comes off a fire may be held or chilled: until it cools its holding is forecast only
			return alarm.NewLimit(alarm.Cooling, alarm.CoolingRisk, name, about, w.Intact, set.Cooling)
		}
		return alarm.NewLimit(alarm.HoldCold, alarm.HoldRisk, name, about, w.Intact, set.Holding)
	}
	return alarm.NewLimit(alarm.ColdLimit, alarm.ColdLimit+"-risk", name+"/"+string(w.Stage), about, false, alarm.StageLimit{Rule: set.ColdLimit})
}

// title names the stage's meat in messages.
func (s *stage) title() string {
	switch {
	case s.cook != 0:
		return string(s.watch.Piece)
	case s.watch.Piece != "":
		return fmt.Sprintf("%s of lot %s", s.watch.Piece, s.watch.Lot)
	}
	return "Lot " + string(s.watch.Lot)
}

func (s *stage) of(id cook.ProbeID) *clocks {
	i := slices.IndexFunc(s.clocks, func(c *clocks) bool { return c.id == id })
	if i < 0 {
		return nil
	}
	return s.clocks[i]
}

// StagesChanged takes the stages of lots that are open now, all of them, and those that have ended (Until is set) and are not judged yet.
// What is new is watched from its beginning on, and what has ended is judged by what was measured until then: the effects ask for the
// stored readings. What is neither is let go without a word.
func (m *State) StagesChanged(stages []cook.StageWatch, now time.Time) []Effect {
	m.advance(now)
	wanted := map[StageKey]cook.StageWatch{}
	for _, w := range stages {
		if len(w.Probes) > 0 {
			wanted[keyOf(w)] = w
		}
	}
	var out []Effect
	filed := map[StageKey]map[string]bool{}
	m.stages = slices.DeleteFunc(m.stages, func(s *stage) bool {
		w, on := wanted[keyOf(s.watch)]
		if on && slices.Equal(w.Probes, s.watch.Probes) && w.Intact == s.watch.Intact && w.Cut == s.watch.Cut && w.Until.Equal(s.watch.Until) {
			delete(wanted, keyOf(s.watch))
			return false
		}
		filed[keyOf(s.watch)] = s.filed
		out = append(out, m.alarmed(s.limit.End(m.now, "the stage has ended"), false)...)
		return true
	})
	for _, w := range wanted {
		s := m.newStage(w, 0)
		if known := filed[keyOf(w)]; known != nil {
			s.filed = known
		}
		m.stages = append(m.stages, s)
		if w.Until.IsZero() {
			m.adopt(s.limit.Conditions())
		}
	}
	slices.SortFunc(m.stages, func(a, b *stage) int {
		return cmp.Or(strings.Compare(string(a.watch.Lot), string(b.watch.Lot)), a.watch.From.Compare(b.watch.From),
			strings.Compare(string(a.watch.Stage), string(b.watch.Stage)), strings.Compare(string(a.watch.Piece), string(b.watch.Piece)))
	})
	for _, s := range m.stages {
		if key := keyOf(s.watch); !wanted[key].From.IsZero() {
			out = append(out, Effect{Rewatch: &key})
		}
	}
	return append(out, m.enroll()...)
}

// enroll lets the probes of stages be waited for, and their coolers have the limits of what they are used for.
func (m *State) enroll() []Effect {
	var changes []alarm.Change
	used := map[cook.ProbeID]bool{}
	for _, s := range m.stages {
		if !s.watch.Until.IsZero() {
			continue
		}
		for _, c := range s.clocks {
			used[c.id] = true
			p := m.probe(c.id, m.o.Roles[c.id])
			if p.watch == nil {
				p.watch = alarm.NewProbe(c.id, 0, "", m.o.Settings, m.words)
				m.adopt(p.watch.Conditions())
			}
			if !p.staged {
				p.staged, p.quiet = true, m.uptime
			}
			if s.coolerStage() && p.cooler == nil {
				p.cooler = alarm.NewCooler(c.id, m.o.Settings, m.words)
				m.adopt(p.cooler.Conditions())
			}
		}
	}
	for _, p := range m.byName() {
		if p.staged && !used[p.id] {
			p.staged = false
			if p.role == "" && p.fire == nil {
				changes = append(changes, cover(p.watch.Conditions(), m.now)...)
				p.watch = nil
			}
		}
		if p.cooler != nil {
			p.cooler.Guard(m.guard(p.id))
			if p.role != cook.RoleCooler && !m.cools(p.id) {
				changes = append(changes, cover(p.cooler.Conditions(), m.now)...)
				p.cooler = nil
			}
		}
	}
	return m.alarmed(changes, false)
}

func cover(conditions []*alarm.Condition, now time.Time) []alarm.Change {
	var out []alarm.Change
	for _, c := range conditions {
		if change, ok := c.Cover(now, "the stage has ended"); ok {
			out = append(out, change)
		}
	}
	return out
}

func (s *stage) coolerStage() bool {
	return s.watch.Stage != cook.StageSmoke && s.watch.Stage != cook.StageHold && s.watch.Stage != cook.StageChill
}

func (m *State) cools(id cook.ProbeID) bool {
	return slices.ContainsFunc(m.stages, func(s *stage) bool { return s.coolerStage() && s.watch.Until.IsZero() && s.of(id) != nil })
}

// guard joins the limits of the stages that a cooler is used for: those that have come to their temperature, or else those that still
// have time to; nil when there is none.
func (m *State) guard(id cook.ProbeID) *alarm.Guard {
	if g := m.guardOf(id, true); g != nil {
		return g
	}
	return m.guardOf(id, false)
}

func (m *State) guardOf(id cook.ProbeID, settled bool) *alarm.Guard {
	var g *alarm.Guard
	var uses []string
	for _, s := range m.stages {
		c := s.of(id)
		if !s.coolerStage() || c == nil || c.keep.Settled() != settled || !s.watch.Until.IsZero() {
			continue
		}
		rule := m.stageRule(s.watch.Stage)
		if !settled {
			rule.OnDelay = max(rule.OnDelay, c.keep.Settle)
		}
		if g == nil {
			g = &alarm.Guard{Min: c.keep.Low, Max: c.keep.High, Rule: rule}
		}
		if c.keep.High < g.Max {
			g.Max, g.Rule = c.keep.High, rule
		}
		g.Min = max(g.Min, c.keep.Low)
		uses = append(uses, fmt.Sprintf("the %s of %s", s.watch.Stage, s.watch.Lot))
	}
	if g != nil {
		g.For = strings.Join(uses, ", ")
	}
	return g
}

func (m *State) stageRule(s cook.Stage) alarm.Rule {
	switch s {
	case cook.StageCure, cook.StageDry:
		return m.o.Settings.Cure
	case cook.StageFreeze:
		return m.o.Settings.Freezer
	}
	return m.o.Settings.ColdStore
}

// Rewatch counts a lot's stage from its stored readings, in outlook.Order, from its beginning on. One that has ended is judged then and
// let go; one that is gone is left alone.
func (m *State) Rewatch(key StageKey, readings iter.Seq2[cook.Reading, error], now time.Time) ([]Effect, error) {
	m.advance(now)
	i := slices.IndexFunc(m.stages, func(s *stage) bool { return keyOf(s.watch) == key })
	if i < 0 {
		return nil, nil
	}
	old := m.stages[i]
	s := m.newStage(old.watch, 0)
	s.limit, s.filed = old.limit, old.filed
	for r, err := range readings {
		if err != nil {
			return nil, err
		}
		if c := s.of(r.Probe); c != nil && !r.Time.Before(s.watch.From) && !r.Time.After(now.Add(future)) && s.during(r.Time) && (r.Live() || r.Clock != cook.ArrivalClock) {
			c.add(r)
		}
	}
	if !s.watch.Until.IsZero() {
		m.stages = slices.Delete(m.stages, i, i+1)
		return append(s.file(true), Effect{Judged: &Judged{Watch: s.watch, Verdicts: s.final()}}), nil
	}
	m.stages[i] = s
	out := s.judge(m, m.now.Sub(s.at()) < fresh, m.pieceOn(s))
	return append(out, m.enroll()...), nil
}

// Probes lists the probes of a lot's stage and its beginning, for Rewatch; false when it is gone.
func (m *State) Probes(key StageKey) (probes []cook.ProbeID, from time.Time, ok bool) {
	for _, s := range m.stages {
		if keyOf(s.watch) == key {
			return s.watch.Probes, s.watch.From, true
		}
	}
	return nil, time.Time{}, false
}

// at is the time of the newest reading of any of the stage's probes.
func (s *stage) at() time.Time {
	var at time.Time
	for _, c := range s.clocks {
		if c.at.After(at) {
			at = c.at
		}
	}
	return at
}

// follow gives a reading to the lots' stages.
func (m *State) follow(r cook.Reading) []Effect {
	var out []Effect
	for _, s := range m.stages {
		c := s.of(r.Probe)
		if c == nil || !s.watch.Until.IsZero() || r.Time.Before(s.watch.From) || !r.Live() && r.Clock == cook.ArrivalClock {
			continue
		}
		settled := c.keep != nil && c.keep.Settled()
		counts, late := c.add(r)
		if late {
			s.late, s.lateAt = true, m.uptime
		}
		if c.keep != nil && c.keep.Settled() != settled {
			out = append(out, m.enroll()...)
		}
		if counts && s.due(r.Time) {
			out = append(out, s.judge(m, m.now.Sub(r.Time) < fresh, m.pieceOn(s))...)
		}
	}
	return out
}

// during reports whether a time lies before the stage's end.
func (s *stage) during(t time.Time) bool { return s.watch.Until.IsZero() || !t.After(s.watch.Until) }

// due reports whether a minute of reading time has passed since the newest judgement.
func (s *stage) due(at time.Time) bool {
	if minute := at.Truncate(time.Minute); minute.After(s.judged) {
		s.judged = minute
		return true
	}
	return false
}

// calmed asks for stages to be counted again whose readings came out of order.
func (m *State) calmed() []Effect {
	var out []Effect
	for _, s := range m.stages {
		if s.late && m.uptime-s.lateAt >= calm {
			s.late = false
			key := keyOf(s.watch)
			out = append(out, Effect{Rewatch: &key})
		}
	}
	return out
}

// judge shows the stage's limits to its alarms. Of a running cook the forecaster's path of the piece is given.
func (s *stage) judge(m *State, current bool, p *piece) []Effect {
	if s.at().IsZero() {
		return nil
	}
	standing := s.standing(m, p)
	out := m.alarmed(s.limit.Observe(s.at(), standing), current)
	return append(out, s.file(false)...)
}

// file gives out the deviations that have come up: what is missed at once, what is unknown when the stage ends, and a gap in the
// watch of a cooler when an hour has passed in which the missing readings might still have come.
func (s *stage) file(ended bool) []Effect {
	if s.cook != 0 {
		return nil
	}
	var out []Effect
	for _, p := range s.verdicts() {
		if ended {
			p.Verdict = s.last(p)
		}
		missed := p.Outcome == safety.Missed
		unknown := p.Outcome == safety.Unknown && (ended || !p.Open && s.coolerStage() && s.at().Sub(p.At) >= time.Hour)
		if !missed && !unknown {
			continue
		}
		from := p.Began
		if from.IsZero() {
			from = s.watch.From
		}
		key := fmt.Sprintf("%s %s %s %d %d", p.Set, p.Rule, p.Needed, p.Outcome, from.UnixMicro())
		if s.filed[key] {
			continue
		}
		s.filed[key] = true
		out = append(out, Effect{Deviation: &Deviation{Watch: s.watch, Verdict: p.Verdict, From: from}})
	}
	return out
}

// verdicts are the stage's limits as the worst of its probes shows them.
func (s *stage) verdicts() []safety.Progress {
	var out []safety.Progress
	worst := func(of func(*clocks) (safety.Progress, bool)) {
		var found *safety.Progress
		for _, c := range s.clocks {
			p, ok := of(c)
			if ok && (found == nil || worse(p, *found)) {
				found = &p
			}
		}
		if found != nil {
			out = append(out, *found)
		}
	}
	if s.watch.Stage == cook.StageSmoke {
		worst(func(c *clocks) (safety.Progress, bool) { p := c.cooking.Cooked(); p.Set = s.set; return p, true })
		if strings.HasPrefix(s.set, "fsis") {
			worst(func(c *clocks) (safety.Progress, bool) { p := c.cooking.ComeUp(); p.Set = s.set; return p, true })
		}
	}
	if s.watch.Stage == cook.StageChill || s.watch.Stage == cook.StageHold && s.cook != 0 {
		for i := range s.legs() {
			worst(func(c *clocks) (safety.Progress, bool) {
				p := c.chill.Legs()[i]
				p.Set = s.chills
				return p, p.Used > 0 || !s.anyCools(i) // a probe that was never hot says nothing beside one that was
			})
		}
	}
	if s.coolerStage() || s.watch.Stage == cook.StageHold && s.cook == 0 {
		worst(func(c *clocks) (safety.Progress, bool) { return c.keep.Progress(), true })
	}
	return out
}

// anyCools reports whether a leg of the cooling rule has begun by any probe.
func (s *stage) anyCools(leg int) bool {
	return slices.ContainsFunc(s.clocks, func(c *clocks) bool { return c.chill.Legs()[leg].Used > 0 })
}

func (s *stage) legs() []safety.Progress {
	if len(s.clocks) == 0 || s.clocks[0].chill == nil {
		return nil
	}
	return s.clocks[0].chill.Legs()
}

// worse orders how a limit stands: missed, unknown, open with more of it used, met.
func worse(p, q safety.Progress) bool {
	rank := func(p safety.Progress) int {
		switch {
		case p.Outcome == safety.Missed:
			return 0
		case p.Outcome == safety.Unknown && !p.Open:
			return 1
		case p.Open:
			return 2
		}
		return 3
	}
	if rank(p) != rank(q) {
		return rank(p) < rank(q)
	}
	if p.Rule == safety.Dwell { // what is nearest to being cooked is not the worst
		return float64(p.Used)*float64(q.Within) < float64(q.Used)*float64(p.Within)
	}
	return p.Used > q.Used
}

// final are the verdicts on a stage that has ended.
func (s *stage) final() []safety.Verdict {
	var out []safety.Verdict
	for _, p := range s.verdicts() {
		out = append(out, s.last(p))
	}
	return out
}

// last is the last word on a limit: what is still open at the end was kept, for a range; was missed, for a dwell of which nothing is
// missing; and is not known otherwise.
func (s *stage) last(p safety.Progress) safety.Verdict {
	c := s.decisive()
	switch {
	case c == nil:
		p.Outcome, p.Measured, p.Because = safety.Unknown, "no usable reading", "nothing was measured"
	case !p.Open:
	case p.Rule == safety.ColdHolding || p.Rule == safety.HotHolding:
		return s.kept(c)
	case p.Rule == safety.Dwell && !c.cooking.Gap():
		p.Outcome = safety.Missed
		fallthrough
	default:
		p.Because += "; the stage ended before it was"
	}
	return p.Verdict
}

// kept is the verdict on a range: of the probe that counts, unless it was met and another did not see the whole stage.
func (s *stage) kept(c *clocks) safety.Verdict {
	v := c.keep.Over(s.watch.From, s.watch.Until)
	for _, other := range s.clocks {
		if w := other.keep.Over(s.watch.From, s.watch.Until); v.Outcome == safety.Met && w.Outcome != safety.Met {
			return w
		}
	}
	return v
}

// infinite reports whether a limit is none.
func infinite[F ~float64](v F) bool { return math.IsInf(float64(v), 0) }
