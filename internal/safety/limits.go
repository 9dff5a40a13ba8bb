package safety

import (
	"errors"
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator/thermal"
)

// Limits are a shop's own, each at least as strict as the published one. Zero keeps the published.
type Limits struct {
	ComeUp      time.Duration   `toml:"come_up_within"`
	DangerZone  time.Duration   `toml:"danger_zone_within"`
	CoolFirst   time.Duration   `toml:"cooling_first_within"` // the first leg of every cooling rule
	HoldMin     thermal.Celsius `toml:"hold_min_c"`
	ColdMax     thermal.Celsius `toml:"cold_max_c"`
	CureMax     thermal.Celsius `toml:"cure_max_c"`
	CureMin     thermal.Celsius `toml:"cure_min_c"`
	FreezerMax  thermal.Celsius `toml:"freezer_max_c"`
	DoorOpening time.Duration   `toml:"door_opening"` // a cooler may be outside so long
}

// The published limits, and what this project chose where there is none.
const (
	dangerPublished = 4 * time.Hour // common practice, no authority known
	dangerSource    = "common practice, no authority known"
	doorOpening     = 30 * time.Minute // choice of this project (common practice, no source)
	curePublished   = thermal.Celsius(4.4)
	cureFreezes     = thermal.Celsius(-1.5)
	freezer         = thermal.Celsius(-17.8) // 0 °F
	pulledWithin    = 20 * time.Minute
)

// Validate reports every limit that is looser than the published one, or makes no sense.
func (l Limits) Validate() error {
	var errs []error
	atMost := func(key string, d, published time.Duration, source string) {
		switch {
		case d < 0:
			errs = append(errs, fmt.Errorf("safety.%s %v is negative: write a duration above 0s, or leave it out", key, d))
		case d > published:
			errs = append(errs, fmt.Errorf("safety.%s %v is looser than the published %v (%s): write %v or less", key, d, published, source, published))
		}
	}
	atMost("come_up_within", l.ComeUp, comeUpPublished, comeUpSource)
	atMost("danger_zone_within", l.DangerZone, dangerPublished, dangerSource)
	atMost("cooling_first_within", l.CoolFirst, 90*time.Minute, "the shortest first leg that is not shortened already: option 1 of "+fsisChill)
	atMost("door_opening", l.DoorOpening, doorOpening, "choice of this project")
	colder := func(key string, c, published thermal.Celsius, source string) {
		if c != 0 && !(c <= published && c >= -60) {
			errs = append(errs, fmt.Errorf("safety.%s %v is looser than %.1f °C (%s), or no temperature: write %.1f or less", key, float64(c), float64(published), source, float64(published)))
		}
	}
	colder("cold_max_c", l.ColdMax, thermal.FromFahrenheit(41), foodCode+" 3-501.16")
	colder("cure_max_c", l.CureMax, curePublished, cureSource)
	colder("freezer_max_c", l.FreezerMax, freezer, freezerSource)
	if l.CureMin != 0 && !(l.CureMin >= cureFreezes && l.CureMin < l.cureMax()) {
		errs = append(errs, fmt.Errorf("safety.cure_min_c %v is looser than %.1f °C (meat freezes there, and a cure stands still), or not below cure_max_c: write %.1f or more",
			float64(l.CureMin), float64(cureFreezes), float64(cureFreezes)))
	}
	if l.HoldMin != 0 && !(l.HoldMin >= thermal.FromFahrenheit(140)-0.01 && l.HoldMin <= 100) {
		errs = append(errs, fmt.Errorf("safety.hold_min_c %v is looser than 60 °C (140 °F, %s), or above 100: write 60 or more", float64(l.HoldMin), holdSource))
	}
	return errors.Join(errs...)
}

func (l Limits) cureMax() thermal.Celsius {
	if l.CureMax != 0 {
		return l.CureMax
	}
	return curePublished
}

const (
	cureSource    = "cure at 36 to 40 °F, 2.2 to 4.4 °C (from memory: a USDA bulletin on home curing of pork); the lower end is a choice of this project, where meat begins to freeze"
	holdSource    = "USDA FSIS Danger Zone fact sheet"
	freezerSource = "USDA FSIS cold storage chart: 0 °F (-18 °C), for quality; what is frozen stays safe"
)

func shorter(own, published time.Duration) time.Duration {
	if own > 0 {
		return min(own, published)
	}
	return published
}

func (s Settings) comeUpLimit() time.Duration { return shorter(s.Own.ComeUp, comeUpPublished) }
func (s Settings) dangerLimit() time.Duration { return shorter(s.Own.DangerZone, dangerPublished) }
func (s Settings) door() time.Duration        { return shorter(s.Own.DoorOpening, doorOpening) }

// holdF is the lower limit of hot holding: the published one, or the shop's own if that is higher; °F.
func (s Settings) holdF(published float64) float64 {
	if s.Own.HoldMin != 0 {
		return max(published, s.Own.HoldMin.Fahrenheit())
	}
	return published
}

// coldF is the upper limit of cold holding, °F.
func (s Settings) coldF(published float64) float64 {
	if s.Own.ColdMax != 0 {
		return min(published, s.Own.ColdMax.Fahrenheit())
	}
	return published
}

// stricter puts the shop's own first leg into a cooling rule.
func (s Settings) stricter(r CoolingRule) CoolingRule {
	legs := append([]Stage{}, r.Stages...)
	legs[0].Within = shorter(s.Own.CoolFirst, legs[0].Within)
	r.Stages = legs
	return r
}

// CureRange is what the cooler of a cure, or of a piece that dries in it, must stay within.
func (s Settings) CureRange() Range {
	low := cureFreezes
	if s.Own.CureMin != 0 {
		low = s.Own.CureMin
	}
	return Range{Rule: ColdHolding, Name: "curing-cooler", Source: cureSource, Low: low, High: s.Own.cureMax(), Tolerance: s.door(), Settle: time.Hour}
}

// ColdRange is for raw meat that thaws and for what is ready to eat: 41 °F.
func (s Settings) ColdRange() Range {
	return Range{Rule: ColdHolding, Name: "foodcode-2022", Source: foodCode + " 3-501.16", Low: thermal.Celsius(math.Inf(-1)),
		High: thermal.FromFahrenheit(s.coldF(41)), Tolerance: s.door(), Settle: time.Hour}
}

// FreezerRange is for quality; it gives a freezer a day to bring its load down.
func (s Settings) FreezerRange() Range {
	high := freezer
	if s.Own.FreezerMax != 0 {
		high = s.Own.FreezerMax
	}
	return Range{Rule: ColdHolding, Name: "freezer", Source: freezerSource, Low: thermal.Celsius(math.Inf(-1)), High: high, Tolerance: 4 * time.Hour, Settle: 24 * time.Hour}
}

// HoldRange is hot holding: 140 °F, or 135 °F where only the Food Code is selected. Ten minutes are tolerated for a hand in the
// box and a probe that is moved (choice of this project); the verdict on the whole stage tolerates nothing.
func (s Settings) HoldRange(foodCodeOnly bool) Range {
	r := Range{Rule: HotHolding, Name: "usda-140F", Source: holdSource, Low: thermal.FromFahrenheit(s.holdF(140)), High: thermal.Celsius(math.Inf(1)),
		Tolerance: 10 * time.Minute, Settle: 30 * time.Minute}
	if foodCodeOnly {
		r.Name, r.Source, r.Low = "foodcode-2022", foodCode+" 3-501.16", thermal.FromFahrenheit(s.holdF(135))
	}
	return r
}
