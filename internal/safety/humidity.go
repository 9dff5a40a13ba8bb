package safety

import (
	"fmt"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Humidity is the rule about the relative humidity of the oven; nothing here measures it, so it is a checklist.
const Humidity Rule = "humidity"

const fsisHumid = "USDA FSIS Cooking Guideline for Meat and Poultry Products (Revised Appendix A), FSIS-GD-2021-14, Table 1"

// Option is one of the ways to keep the surface moist while it cooks.
type Option struct {
	Name, Ask   string
	EndpointF   float64       // the dwell must be reached at or above it; 0 = any row
	AtLeastCook time.Duration // 0 = any
}

// HumidityOptions are the four options of Table 1.
func HumidityOptions() []Option {
	return []Option{
		{"option 1", "steam was let in all the time for half of the cook or 1 h, whichever is longer (pieces of it may be summed)", 145, time.Hour},
		{"option 2", "the oven was sealed, dampers shut, for half of the cook or 1 h, whichever is longer", 145, time.Hour},
		{"option 3", "the relative humidity was 90 % or more for a quarter of the cook or 1 h, whichever is longer", 0, time.Hour},
		{"option 4", "the relative humidity was 90 % or more for the whole cook", 0, 0},
	}
}

// humidity gives one verdict for each option: missed where the measured end point or the length of the cook rules it out, else
// unknown until a person has looked. A large piece in a hot oven needs none of them, which the readings of the pit can show.
func humidity(x Subject, s Settings) []Verdict {
	first, last := ends(x.Traces)
	if first.IsZero() {
		return nil
	}
	if v, ok := exemptBySize(x, first, last, s); ok {
		return []Verdict{v}
	}
	table := Meat7()
	if x.Poultry {
		table = turkey7(s.FatPercent > 0 && s.FatPercent <= 1)
	}
	var out []Verdict
	for _, o := range HumidityOptions() {
		v := Verdict{Rule: Humidity, Outcome: Unknown, Source: fsisHumid, At: last, Needed: o.Name + ": " + o.Ask, Measured: "humidity is not measured",
			Because: "a person has to say it: one of the options is enough, and none is needed for direct heat, a sealed bag, a casing that holds moisture, " +
				"or pieces of 10 lb (4.5 kg) in an oven at 250 °F (121 °C) throughout; above 212 °F (100 °C) 90 % humidity is impossible"}
		cooked := last.Sub(first)
		hot := from(table, o.EndpointF)
		switch {
		case o.AtLeastCook > 0 && cooked < o.AtLeastCook:
			v.Outcome, v.Measured = Missed, when.Exact(cooked)+" of readings"
			v.Because = "the option needs a cook of at least " + when.Exact(o.AtLeastCook)
		case o.EndpointF > 0 && len(hot.Rows) > 0:
			if d := worst(cookedBy(x, hot, s)); d.Outcome == Missed {
				v.Outcome, v.Measured = Missed, d.Measured
				v.Because = fmt.Sprintf("the option needs a row of the table at %s or above", fahrenheit(o.EndpointF))
			}
		}
		out = append(out, v)
	}
	return out
}

// from keeps the rows of a table at or above a temperature.
func from(t Table, f float64) Table {
	out := t
	out.Rows = nil
	for _, row := range t.Rows {
		if row.Fahrenheit >= f {
			out.Rows = append(out.Rows, row)
		}
	}
	return out
}

const (
	largeKg = 4.536 // 10 lb
	hotOven = 250.0 // °F
)

// exemptBySize finds a piece of 10 lb or more in an oven that every pit reading during the cook shows at 250 °F or above.
func exemptBySize(x Subject, first, last time.Time, s Settings) (Verdict, bool) {
	if x.Piece.MassKg < largeKg || len(x.Pit) == 0 {
		return Verdict{}, false
	}
	for _, t := range x.Pit {
		var during []cook.Reading
		for _, r := range t.Readings {
			if !r.Time.Before(first) && !r.Time.After(last) {
				if s.asHot(r) < hotOven {
					return Verdict{}, false
				}
				during = append(during, r)
			}
		}
		n := len(during)
		if n < 2 || s.gapWithin(during, 0, n-1) || during[0].Time.Sub(first) > s.maxGap() || last.Sub(during[n-1].Time) > s.maxGap() {
			return Verdict{}, false
		}
	}
	return Verdict{Rule: Humidity, Outcome: Met, At: last, Source: fsisHumid, Needed: "none for pieces of 10 lb (4.5 kg) or more in an oven at 250 °F (121 °C) throughout",
		Measured: fmt.Sprintf("%.1f kg, every reading of the oven at or above 250 °F (121 °C)", x.Piece.MassKg), Because: "the piece is large and the oven was hot throughout"}, true
}
