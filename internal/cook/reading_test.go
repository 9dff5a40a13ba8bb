package cook

import "testing"

func TestProbeID_ForShellIsOneWord(t *testing.T) {
	for id, want := range map[ProbeID]string{"flat": "flat", "pit/left-2": "pit/left-2", "": "''", "x;rm -rf ~": "'x;rm -rf ~'", "`id`": "'`id`'",
		"the cook's": `'the cook'\''s'`, "żar": "'żar'"} {
		if got := id.ForShell(); got != want {
			t.Errorf("%q is %s, want %s", string(id), got, want)
		}
	}
}
