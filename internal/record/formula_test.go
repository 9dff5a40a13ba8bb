package record

import (
	"testing"
	"time"
)

func TestTell_ARecipeIsReadable(t *testing.T) {
	recipe := `{"ingoing_nitrite_ppm":119.99999999999999,"cure_g":12.542481564604039,"within":true,"brine_salt_percent":null,"tiny":1e-320,
		"weights":[{"grams":3150,"what":"meat"},{"grams":12.542481564604039,"what":"curing salt"}],"notes":["keep it submerged"],
		"cure_time":{"default_days":19,"rules":[{"basis":"common practice, no source","high_days":18,"low_days":18,"name":"7 days an inch"}]}}`
	want := []Said{{"name", "flat"}, {"weights", "meat 3150 g, curing salt 12.54 g"}, {"curing salt", "12.54 g"}, {"salt in the brine", "not known"},
		{"ingoing nitrite, as sodium nitrite", "120 ppm"}, {"within the limit", "yes"}, {"cure time", "19 days"},
		{"cure time by the rule: 7 days an inch", "18 days; common practice, no source"}, {"note", "keep it submerged"}, {"tiny", "0"}}
	got := Tell(&Formulation{Name: "flat", Formula: raw(recipe)}, time.UTC)
	if len(got) != len(want) {
		t.Fatalf("%d lines %q, want %d", len(got), got, len(want))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("line %d is %q, want %q", i+1, got[i], want[i])
		}
	}
}
