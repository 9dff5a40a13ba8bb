package webtest

import "net/url"

// UsualPlan is the form of a plan for one cured flat.
func UsualPlan() url.Values {
	return url.Values{"name": {"Sunday table"}, "serve": {"2026-12-13T18:00"}, "pit": {"107"}, "cure": {"7"}, "p0-cut": {"brisket_flat_cured"}, "p0-mass": {"2.5"}, "p0-thick": {"50"}, "p0-target": {"92"}}
}
