package config

import (
	"strings"
	"testing"
)

// A bare number is no duration: 20 would count as 20 ns, and an opened lid as a dying fire.
func TestADurationNeedsItsUnit(t *testing.T) {
	for text, line := range map[string]string{
		"[alarm.pit_low]\non_delay = 20\n":                          "line 2: alarm.pit_low.on_delay = 20",
		"[store]\nlinger = 10":                                      "line 2: store.linger = 10",
		"[[notify.path]]\nname = \"x\"\nhigh_after = 5\n":           "line 3: notify.path.high_after = 5",
		"[alarm.pit_danger]\nmax_c = 280.0\n[fuel]\n\nevery = 3600": "line 5: fuel.every = 3600",
	} {
		_, err := Parse(text)
		if err == nil || !strings.Contains(err.Error(), line) || !strings.Contains(err.Error(), `write it like "20m"`) {
			t.Errorf("%q: %v, want %s and what to write", text, err, line)
		}
	}
}
