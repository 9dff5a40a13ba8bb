package cook

import (
	"math"

	"stallkeeper/estimator/thermal"
)

// Limits of plausibility. Common practice, no source, except the power-up value of the DS18B20 data sheet.
const (
	powerUpValue  thermal.Celsius = 85  // register after power-on, DS18B20 data sheet
	openBelow     thermal.Celsius = -60 // converters and libraries give −127 or lower without contact
	meatAbove     thermal.Celsius = 250 // no piece is hotter inside
	anythingAbove thermal.Celsius = 600 // no pit is hotter
	powerUpMargin                 = 5.0 // a true 85.0 comes from nearby, K
)

// Judge gives each reading the quality that it shows by itself and beside the probe's last good value.
// The zero value is ready. Feed it the readings of all probes in the order in which they are to be judged.
type Judge struct {
	Gas  map[ProbeID]bool // probes that give parts per million (RoleCO): what cannot be a temperature is theirs to say
	last map[ProbeID]thermal.Celsius
}

// Quality judges one reading. An 85.0 is believed only from a probe that was near it just before.
func (j *Judge) Quality(r Reading) Quality {
	q := j.judge(r)
	if q == Good {
		if j.last == nil {
			j.last = map[ProbeID]thermal.Celsius{}
		}
		j.last[r.Probe] = r.Celsius
	}
	return q
}

func (j *Judge) judge(r Reading) Quality {
	limit := meatAbove
	if r.Probe.IsPit() {
		limit = anythingAbove
	}
	switch {
	case j.Gas[r.Probe] && r.Celsius < 0: // sensors show a fault, or a drifted zero, so
		return OutOfRange
	case j.Gas[r.Probe]:
		return Good
	case r.Celsius <= openBelow:
		return Open
	case r.Celsius > limit:
		return OutOfRange
	case r.Celsius == powerUpValue:
		last, known := j.last[r.Probe]
		if !known || math.Abs(float64(r.Celsius-last)) > powerUpMargin {
			return PowerUp
		}
	}
	return Good
}
