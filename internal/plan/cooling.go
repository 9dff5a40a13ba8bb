package plan

import (
	"fmt"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// The limits of what comes after the fire: Food Code 3-501.14 (135 to 70 °F in 2 h, to 41 °F in 6 h in all) and the 140 °F
// of the USDA for hot holding, which is stricter than the 135 °F of the Food Code.
const (
	holdAbove  = thermal.Celsius((140 - 32) / 1.8)
	chillFrom  = thermal.Celsius((135 - 32) / 1.8)
	chillHalf  = thermal.Celsius((70 - 32) / 1.8)
	chillTo    = thermal.Celsius((41 - 32) / 1.8)
	chillFirst = 2 * time.Hour
	chillWhole = 6 * time.Hour
)

// room is where a box stands; common practice, no source.
const room = thermal.Celsius(20)

// p10, p50, p90 index estimator.Levels.
const p10, p50, p90 = 1, 3, 5

// boxHold is how long a wrapped piece stays hot enough in an insulated box with nine chances in ten; never when beyond
// the horizon.
func boxHold(f Forecaster, r Request, p Piece) time.Duration {
	in := r.cold(p, r.Now)
	in.Core, in.Pit = nil, nil
	after := f.CoolTime(estimator.Chill{Piece: in, From: p.Target, Where: estimator.InsulatedBox, Ambient: room}, holdAbove)
	if after[p10] < 0 {
		return never
	}
	return after[p10].Truncate(15 * time.Minute)
}

// ChillAdvice is a way to cool a piece within the limits.
type ChillAdvice struct {
	Where      estimator.Surroundings
	ThickMM    float64 // to cut it to; 0 = whole
	Half, Cold time.Duration
	Meets      bool // with nine chances in ten, by the forecast
}

// chilling looks for the thickest pieces that cool in time in iced water, and the same in moved cooler air.
func chilling(f Forecaster, r Request, p Piece) (water, air ChillAdvice) {
	find := func(where estimator.Surroundings, ambient thermal.Celsius, thick ...float64) (c ChillAdvice) {
		for _, mm := range thick {
			in := r.cold(p, r.Now)
			in.Core, in.Pit = nil, nil
			chill := estimator.Chill{Piece: in, From: chillFrom, Where: where, Ambient: ambient, SlicedMM: mm}
			half, cold := f.CoolTime(chill, chillHalf)[p90], f.CoolTime(chill, chillTo)[p90]
			c = ChillAdvice{Where: where, ThickMM: mm, Half: half, Cold: cold, Meets: half >= 0 && cold >= 0 && half <= chillFirst && cold <= chillWhole}
			if c.Meets {
				return c
			}
		}
		return c
	}
	return find(estimator.IceWater, 1, 0, 50, 25, 12), find(estimator.CoolerAir, 3, 0, 25, 12, 6)
}

func (c ChillAdvice) words() string {
	size := "whole"
	if c.ThickMM > 0 {
		size = fmt.Sprintf("in pieces up to %.0f mm thick", c.ThickMM)
	}
	where := "bagged in iced water"
	if c.Where == estimator.CoolerAir {
		where = "in one layer in moving air at 3 °C"
	}
	if !c.Meets {
		return fmt.Sprintf("not even %s %s does it cool in time", size, where)
	}
	return fmt.Sprintf("%s, %s, the forecast is at most %s to 21 °C and %s to 5 °C", size, where, span(c.Half), span(c.Cold))
}
