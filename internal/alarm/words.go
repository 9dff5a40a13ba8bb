package alarm

import (
	"fmt"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
)

// Words puts figures into sentences, times in the zone of the people who read them.
type Words struct{ Zone *time.Location }

// clock gives the time of day.
func (w Words) clock(t time.Time) string { return t.In(w.Zone).Format("15:04") }

// due gives a time to come, with the day of the week when it is not today.
func (w Words) due(t, now time.Time) string {
	t, now = t.In(w.Zone), now.In(w.Zone)
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04")
	}
	return t.Format("Mon 15:04")
}

// Chance gives a probability without false precision at its ends.
func Chance(p float64) string {
	switch {
	case p < 0.05:
		return "under 5 %"
	case p > 0.95:
		return "over 95 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// spell gives a duration as people say it.
func spell(d time.Duration) string {
	if d < 90*time.Second {
		return fmt.Sprintf("%d s", int(d.Round(time.Second)/time.Second))
	}
	d = d.Round(time.Minute)
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %02d min", h, m)
}

// whole gives a temperature without decimals, for pits and limits.
func whole(c thermal.Celsius) string { return fmt.Sprintf("%.0f °C", float64(c)) }

// list puts names in a row: "a", "a and b", "a, b and c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
