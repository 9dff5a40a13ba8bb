package store

import (
	"testing"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/record"
)

func TestProbeChecks_GivesWhatStands(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	check := func(instrument string, read float64) record.ProbeChecked {
		return record.ProbeChecked{Instrument: instrument, Method: "ice", Points: []record.CheckPoint{{True: 0, Read: thermal.Celsius(read)}}, Passed: true}
	}
	wrong := s.mustAppend(t, says("", check("flat", 0.2)), says("", check("pit", 0.4)))[0]
	again := says("", check("flat", 0.3))
	again.Corrects, again.Reason = wrong.Seq, "read the wrong probe"
	s.mustAppend(t, again, says("", check("flat", 0.1)))
	for name, want := range map[string][]int64{"flat": {3, 4}, "pit": {2}, "": {2, 3, 4}, "none": nil} {
		got, err := s.ProbeChecks(t.Context(), name)
		if err != nil || len(got) != len(want) {
			t.Fatalf("ProbeChecks(%q) = %v, %v, want %v", name, got, err, want)
		}
		for i, e := range got {
			if e.Seq != want[i] {
				t.Errorf("ProbeChecks(%q)[%d] is entry %d, want %d", name, i, e.Seq, want[i])
			}
		}
	}
}
