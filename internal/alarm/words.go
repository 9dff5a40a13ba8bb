package alarm

import (
	"fmt"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// Words puts figures into sentences, times in the zone of the people who read them.
type Words struct{ Zone *time.Location }

// clock gives the time of day.
func (w Words) clock(t time.Time) string { return when.Clock(t, w.Zone) }

// due gives a time to come, with the day of the week when it is not today.
func (w Words) due(t, now time.Time) string { return when.Short(t, now, w.Zone) }

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

// whole gives a temperature without decimals, for pits and limits.
func whole(c thermal.Celsius) string { return fmt.Sprintf("%.0f °C", float64(c)) }

// list puts names in a row: "a", "a and b", "a, b and c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// Words says how soon somebody is wanted.
func (p Priority) Words() string {
	switch p {
	case High:
		return "Now"
	case Medium:
		return "Within minutes"
	case Low:
		return "Within the hour"
	}
	return "When convenient"
}
