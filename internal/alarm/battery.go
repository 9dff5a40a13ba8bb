package alarm

import (
	"fmt"
	"time"

	"stallkeeper/internal/cook"
)

// Charge is when a battery counts as low. A choice of this project, no source: what the last fifth lasts for differs by battery and cold.
type Charge struct {
	Rule
	Below    float64 `toml:"below_percent"`
	Deadband float64 `toml:"deadband_percent"` // above it by this much before it counts as charged again
}

// Battery watches the charge of one device.
type Battery struct {
	set Charge
	low Condition
}

// NewBattery watches the battery of a device; its name or that of its board stands in level.
func NewBattery(level cook.Battery, s Settings) *Battery {
	a := Alarm{ID: ID(fmt.Sprintf("%s/%s", BatteryLow, level.Device)), Kind: BatteryLow}
	if level.Board {
		a.ID = ID(fmt.Sprintf("%s/board/%s", BatteryLow, level.Device))
	}
	if len(level.Probes) == 1 {
		a.Probe = string(level.Probes[0])
	}
	return &Battery{set: s.Battery, low: NewCondition(a, s.Battery.Rule)}
}

// Conditions lists its alarms.
func (b *Battery) Conditions() []*Condition { return []*Condition{&b.low} }

// Low reports whether a charge is low by the settings, whether or not there is an alarm for it.
func (c Charge) Low(percent float64) bool { return percent <= c.Below }

// Observe takes what the device says it has left.
func (b *Battery) Observe(at time.Time, level cook.Battery) []Change {
	of := "probe " + level.Device
	if level.Board {
		of = "board " + level.Device
	}
	f := Finding{Because: fmt.Sprintf("The battery of %s is at %.0f %% again.", of, level.Percent)}
	switch {
	case b.set.Low(level.Percent):
		f = Finding{Holds: Yes, Because: fmt.Sprintf("The battery of %s is at %.0f %%: charge or change it before the night, or it falls silent.", of, level.Percent)}
		if n := len(level.Probes); n > 1 {
			f.Because = fmt.Sprintf("The battery of %s is at %.0f %%: charge or change it before the night, or its %d probes fall silent.", of, level.Percent, n)
		}
	case level.Percent < b.set.Below+b.set.Deadband:
		f.Holds = Between
	}
	var out changes
	out.add(b.low.Observe(at, f))
	return out
}
