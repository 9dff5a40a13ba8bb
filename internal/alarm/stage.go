package alarm

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// StageLimit is a food-safety limit of a stage. What the limit is stands in the safety rules; here is who hears of it and when.
type StageLimit struct {
	Rule                   // when it is missed, as measured
	Intact   Priority      `toml:"intact_priority"` // the same for an intact piece, whose surface may be judged instead
	Risk     Priority      `toml:"risk_priority"`   // when a forecast says that it will be missed
	RiskWait time.Duration `toml:"risk_on_delay"`
}

// Limit watches one limit of one stage: at risk while a forecast says that it will be missed, missed once it is. The two are one
// cause: the forecast is taken back when the measurement has come.
type Limit struct {
	risk, missed Condition
}

// NewLimit watches a limit. About carries cook, piece and probe; what tells stages apart stands in name, such as "26-11-25-brisket/flat".
func NewLimit(missed, risk Kind, name string, about Alarm, intact bool, s StageLimit) *Limit {
	condition := func(k Kind, r Rule) Condition {
		a := about
		a.ID, a.Kind = ID(fmt.Sprintf("%s/%s", k, name)), k
		return NewCondition(a, r)
	}
	rule, ahead := s.Rule, s.Risk
	if intact && s.Intact != "" {
		rule.Priority = s.Intact
		if ahead.Above(s.Intact) {
			ahead = s.Intact
		}
	}
	off := s.Off || s.Risk == ""
	return &Limit{risk: condition(risk, Rule{Off: off, Priority: ahead, OnDelay: s.RiskWait, OffDelay: s.RiskWait}), missed: condition(missed, rule)}
}

// Conditions lists its alarms.
func (l *Limit) Conditions() []*Condition { return []*Condition{&l.missed, &l.risk} }

// Standing is how a limit stands.
type Standing struct {
	Missed string // what was measured and what to do, once it is missed; empty before
	Risk   string // the forecast and what to do; empty when there is none, or all is well
	Well   string // what is said when neither holds
}

// Observe takes how the limit stands and gives the alarms that change by it. While the miss is told, its risk is not.
func (l *Limit) Observe(at time.Time, s Standing) []Change {
	var out changes
	if s.Missed != "" {
		out.add(l.missed.Observe(at, Finding{Holds: Yes, Because: s.Missed}))
	} else {
		out.add(l.missed.Observe(at, Finding{Because: s.Well}))
	}
	switch {
	case l.missed.Standing():
		out.add(l.risk.Cover(at, "it is missed, which is told already"))
	case s.Risk != "":
		out.add(l.risk.Observe(at, Finding{Holds: Yes, Because: s.Risk}))
	default:
		out.add(l.risk.Observe(at, Finding{Because: s.Well}))
	}
	return out
}

// End takes the alarms back.
func (l *Limit) End(at time.Time, because string) []Change {
	var out changes
	for _, c := range l.Conditions() {
		out.add(c.Cover(at, because))
	}
	return out
}

const decide = "Whether it may be served is for the person who answers for food safety, by the published rules."

// ComeUpMissed says that a piece took too long to warm up.
func (w Words) ComeUpMissed(name string, used, within time.Duration, level thermal.Celsius, intact bool) string {
	text := fmt.Sprintf("%s has spent %s between 10 and 54.4 °C (50 and 130 °F), now %s; the limit is %s (USDA FSIS cooking guideline, 2021). ", name, when.Span(used), level, when.Span(within))
	if intact {
		return text + "It is marked as intact: its surface may be judged instead, with support. Large barbecue pieces often cannot meet this limit."
	}
	return text + "Raise the pit so that it gets no longer, and mark the piece: heat does not destroy toxin that has formed. " + decide
}

// ComeUpRisk says that a forecast sees it coming.
func (w Words) ComeUpRisk(name string, due, forecast, now time.Time, within time.Duration, level thermal.Celsius) string {
	reach := "not within the next 36 h"
	if !forecast.IsZero() {
		reach = "about " + w.due(forecast, now)
	}
	return fmt.Sprintf("Forecast: %s, now %s, passes 54.4 °C (130 °F) %s; its %s of warming up end at %s. Raise the pit, or wrap it, and see that the fire is well.",
		name, level, reach, when.Span(within), w.due(due, now))
}

// CoolingMissed says that a piece cooled too slowly.
func (w Words) CoolingMissed(name string, to thermal.Celsius, due, now time.Time, level thermal.Celsius, rule string) string {
	return fmt.Sprintf("%s was to be at %s by %s and is at %s: the cooling limit is missed (%s). Put it on ice and set it aside: do not serve it as it is. %s",
		name, whole(to), w.due(due, now), level, rule, decide)
}

// CoolingRisk says that a forecast sees it coming.
func (w Words) CoolingRisk(name string, to thermal.Celsius, due, forecast, now time.Time, level thermal.Celsius) string {
	reach := "not within the next 36 h"
	if !forecast.IsZero() {
		reach = "about " + w.due(forecast, now)
	}
	return fmt.Sprintf("Forecast: %s, now %s, comes down to %s %s; it must be there by %s. Cut it thinner, or put it in ice water in a bag, now.",
		name, level, whole(to), reach, w.due(due, now))
}

// HoldMissed says that something held hot has cooled.
func (w Words) HoldMissed(name string, low thermal.Celsius, since, now time.Time, level thermal.Celsius) string {
	return fmt.Sprintf("%s %s, under %s since %s. Reheat it to 74 °C (165 °F) within 2 h, or begin to chill it and end the holding. %s",
		name, level, whole(low), w.due(since, now), decide)
}

// HoldRisk says that a forecast sees it coming.
func (w Words) HoldRisk(name string, low thermal.Celsius, forecast, now time.Time, level thermal.Celsius) string {
	return fmt.Sprintf("Forecast: %s, now %s, falls under %s about %s. Bring heat to it, or serve it.", name, level, whole(low), w.due(forecast, now))
}

// HoldUnder says that something held hot is under its limit, not yet for long.
func (w Words) HoldUnder(name string, low thermal.Celsius, since, now time.Time, level thermal.Celsius) string {
	return fmt.Sprintf("%s %s, under %s since %s. Bring heat to it, or serve it.", name, level, whole(low), w.due(since, now))
}

// ColdMissed says that the cooler of a stage was outside its limits for longer than a door is open.
func (w Words) ColdMissed(name, probe, limits string, since, now time.Time, tolerated time.Duration, worst thermal.Celsius) string {
	return fmt.Sprintf("%s: cooler %s was outside %s from %s for more than %s, worst %s. Measure the meat itself and write down what you do with it. %s",
		name, probe, limits, w.due(since, now), when.Span(tolerated), worst, decide)
}

// Guard is what a cooler is used for, with limits of its own.
type Guard struct {
	For      string // "the cure of 26-11-25-brisket"
	Min, Max thermal.Celsius
	Rule     Rule
}

// Guard takes what the cooler is used for, nil for nothing in particular. Other limits or delays begin to count anew.
func (c *Cooler) Guard(g *Guard) {
	rule := c.set.Rule
	if g != nil {
		rule = g.Rule
	}
	if c.warm.rule != rule && c.warm.alarm.State == Pending {
		c.warm.alarm.State, c.warm.since, c.since = Normal, time.Time{}, time.Time{}
	}
	c.guard, c.warm.rule = g, rule
}
