package daemon

import "testing"

// A stage that runs while the daemon is renewed must not get its deviations twice because their words have changed since.
func TestSameLimit_WhateverStandsInBrackets(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		same bool
	}{
		{"at most 4 h between 5 and 57 °C", "at most 4 h between 5 and 57 °C (41 and 135 °F)", true},
		{"135 to 70 °F (57.2 to 21.1 °C) within 2 h", "135 to 70 °F (57.2 to 21.1 °C) within 2 h", true},
		{"135 to 70 °F (57.2 to 21.1 °C) within 2 h", "135 to 41 °F (57.2 to 5.0 °C) within 6 h", false},
		{"at most 4 h between 5 and 57 °C", "at most 3 h between 5 and 57 °C", false},
	} {
		if got := sameLimit(tc.a, tc.b); got != tc.same {
			t.Errorf("sameLimit(%q, %q) = %v", tc.a, tc.b, got)
		}
	}
	if outcomeWord("Not known whether it was met: nothing was measured") != outcomeWord("Not known whether the limit was met: nothing was measured") {
		t.Error("the old words for an unknown outcome are taken for another")
	}
}
