package plan

import (
	"fmt"
	"math"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/when"
)

// span writes a duration in days, hours and minutes; under six hours to the minute.
func span(d time.Duration) string {
	if d == never {
		return "more than " + span(estimator.Horizon)
	}
	if d < 0 {
		return "-" + span(-d)
	}
	if d >= 6*hour {
		d = d.Round(15 * minute)
	} else {
		d = d.Round(minute)
	}
	return when.Span(d)
}

// days writes a cure time.
func days(d time.Duration) string {
	n := math.Round(d.Hours()/24*100) / 100
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%g days", n)
}

func kilograms(kg float64) string { return fmt.Sprintf("%.1f kg (%.1f lb)", kg, kg/poundKg) }

// words writes a cut as people say it.
func words(c estimator.Cut) string {
	switch c {
	case estimator.Other:
		return "meat"
	case estimator.BrisketFlatCured:
		return "brisket flat"
	}
	return strings.ReplaceAll(string(c), "_", " ")
}
