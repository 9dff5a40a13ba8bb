package form

import (
	"strings"
	"testing"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/webtest"
)

func TestCutDefaults_NoTargetBelowPublishedLimit(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range cuts {
		seen[d.Cut] = true
		if d.Target < d.LeastFor(true) {
			t.Errorf("%s: usual target %v below %v", d.Cut, d.Target, d.LeastFor(true))
		}
		// FDA Food Code 3-401.11: 145 °F whole meat and fish, 165 °F poultry.
		if poultry := strings.HasPrefix(d.Cut, "turkey") || strings.HasPrefix(d.Cut, "chicken") || d.Cut == "other"; poultry && d.Target.Fahrenheit() < 165 {
			t.Errorf("%s: usual target %v °F below 165 °F", d.Cut, d.Target.Fahrenheit())
		}
		if d.Target.Fahrenheit() < 145 {
			t.Errorf("%s: usual target %v °F below 145 °F", d.Cut, d.Target.Fahrenheit())
		}
	}
	for _, c := range cook.Cuts() {
		if !seen[c] {
			t.Errorf("cut %s has no usual target", c)
		}
	}
}

// In Chicago the clocks went from 02:00 to 03:00 on 8 March 2026 (Energy Policy Act of 2005, section 110).
func TestLocalTime_RefusesAnHourThatWasLeftOut(t *testing.T) {
	in := webtest.Zone(t)
	for text, ok := range map[string]bool{"2026-03-08T01:59": true, "2026-03-08T02:30": false, "2026-03-08T02:30:00": false, "2026-03-08T03:00": true, "2026-03-08T02:30:00Z": true, "soon": false, "": false} {
		if at, err := LocalTime(text, in); (err == nil) != ok {
			t.Errorf("LocalTime(%q) = %v, %v", text, at, err)
		}
	}
}
