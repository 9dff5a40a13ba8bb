package alarm

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Air watches carbon monoxide at one probe. It is an alarm input, never a safety device: a certified alarm stays needed.
type Air struct {
	set   COLimits
	words Words
	name  cook.ProbeID
	co    Condition
	above time.Time // above the alarm level since
}

// NewAir watches the carbon-monoxide probe.
func NewAir(id cook.ProbeID, s Settings, w Words) *Air {
	a := Alarm{ID: ID(fmt.Sprintf("%s/%s", CarbonOxide, id)), Kind: CarbonOxide, Probe: string(id)}
	return &Air{set: s.CO, words: w, name: id, co: NewCondition(a, s.CO.Rule)}
}

// Conditions lists its alarms.
func (a *Air) Conditions() []*Condition { return []*Condition{&a.co} }

// Observe takes a reading in parts per million.
func (a *Air) Observe(at time.Time, ppm float64) []Change {
	var out changes
	out.add(a.co.Observe(at, a.judge(at, ppm)))
	return out
}

func (a *Air) judge(at time.Time, ppm float64) Finding {
	if ppm < a.set.Alarm {
		a.above = time.Time{}
	} else if a.above.IsZero() {
		a.above = at
	}
	const leave = "Go outside now, let nobody back in, air the place and call the fire service. This is not a certified alarm."
	switch {
	case ppm >= a.set.Danger:
		return Finding{Holds: Yes, Priority: High, Own: true,
			Because: fmt.Sprintf("Carbon monoxide %.0f ppm at %s (ceiling %.0f ppm). %s", ppm, a.name, a.set.Danger, leave)}
	case !a.above.IsZero() && at.Sub(a.above) >= a.set.AlarmWait:
		return Finding{Holds: Yes, Priority: High, Own: true,
			Because: fmt.Sprintf("Carbon monoxide %.0f ppm at %s, over %.0f ppm since %s. %s", ppm, a.name, a.set.Alarm, a.words.clock(a.above), leave)}
	case ppm >= a.set.Warn:
		return Finding{Holds: Yes, Because: fmt.Sprintf("Carbon monoxide %.0f ppm at %s, over %.0f ppm for %s. Open doors, look where the smoke goes, do not stay in there. "+
			"This is not a certified alarm.", ppm, a.name, a.set.Warn, when.Span(a.co.rule.OnDelay))}
	case ppm > 0.8*a.set.Warn:
		return Finding{Holds: Between}
	}
	return Finding{Because: fmt.Sprintf("Carbon monoxide down to %.0f ppm at %s at %s.", ppm, a.name, a.words.clock(at))}
}

// Cooler watches the air of a cooler in which something cures or is kept.
type Cooler struct {
	set    Cold
	words  Words
	name   cook.ProbeID
	warm   Condition
	since  time.Time
	guard  *Guard
	recent recent
}

// NewCooler watches the cooler's probe.
func NewCooler(id cook.ProbeID, s Settings, w Words) *Cooler {
	a := Alarm{ID: ID(fmt.Sprintf("%s/%s", CoolerWarm, id)), Kind: CoolerWarm, Probe: string(id)}
	return &Cooler{set: s.Cooler, words: w, name: id, warm: NewCondition(a, s.Cooler.Rule)}
}

// Conditions lists its alarms.
func (c *Cooler) Conditions() []*Condition { return []*Condition{&c.warm} }

// Observe takes a reading of the cooler's air. The median of the newest five counts.
func (c *Cooler) Observe(at time.Time, t thermal.Celsius) []Change {
	var out changes
	out.add(c.warm.Observe(at, c.judge(at, c.recent.add(at, t))))
	return out
}

func (c *Cooler) judge(at time.Time, t thermal.Celsius) Finding {
	d, limit, above, use := thermal.Celsius(c.set.Deadband), c.set.Min, c.set.Max, ""
	if g := c.guard; g != nil {
		limit, above, use = g.Min, g.Max, " (it is used for "+g.For+")"
	}
	warm, cold := t > above, t < limit
	if !warm && !cold {
		if t > above-d || t < limit+d {
			return Finding{Holds: Between}
		}
		c.since = time.Time{}
		return Finding{Because: fmt.Sprintf("Cooler %s back at %s at %s.", c.name, t, c.words.clock(at))}
	}
	if c.since.IsZero() {
		c.since = at
	}
	if cold {
		return Finding{Holds: Yes, Because: fmt.Sprintf("Cooler %s %s, under %s since %s%s: a cure stands still and meat may freeze. Look at its thermostat.",
			c.name, t, limit, c.words.clock(c.since), use)}
	}
	return Finding{Holds: Yes, Because: fmt.Sprintf("Cooler %s %s, over %s since %s%s. Close the door, look at its power; move the food to another cooler if it does not fall, and note it.",
		c.name, t, above, c.words.clock(c.since), use)}
}
