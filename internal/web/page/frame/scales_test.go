package frame

import "testing"

// By definition 0 °C is 32 °F, and a kelvin is 1.8 °F.
func TestInBothScales_AddsWhatIsMissing(t *testing.T) {
	for _, tc := range []struct {
		fahrenheit bool
		text, want string
	}{
		{true, "under 60 °C since 03:01", "under 60 °C (140\u00a0°F) since 03:01"},
		{true, "between 5 and 57.2 °C", "between 5 and 57.2 °C (41 and 135.0\u00a0°F)"},
		{true, "at -18 °C", "at -18 °C (0\u00a0°F)"},
		{true, "at or below 5 °C (41 °F)", "at or below 5 °C (41 °F)"},
		{true, "135 to 70 °F (57.2 to 21.1 °C) within 2 h", "135 to 70 °F (57.2 to 21.1 °C) within 2 h"},
		{true, "Reheat it to 74 °C; chill to 41 °F", "Reheat it to 74 °C (165\u00a0°F); chill to 41 °F"},
		{true, "in 2 h, to 5 °C (41 °F) (see 21 °C)", "in 2 h, to 5 °C (41 °F) (see 21 °C (70\u00a0°F))"},
		{false, "the row 140 °F needs 12 min", "the row 140 °F (60\u00a0°C) needs 12 min"},
		{false, "50 to 130 °F", "50 to 130 °F (10 to 54\u00a0°C)"},
		{false, "probe reads 71.2 °C", "probe reads 71.2 °C"},
		// differences are left alone
		{true, "more than 20 °C under its setpoint 107 °C", "more than 20 °C under its setpoint 107 °C (225\u00a0°F)"},
		{true, "and falling, 12 °C in the last 9 min", "and falling, 12 °C in the last 9 min"},
		{true, "fell by 30 °C faster than meat can", "fell by 30 °C faster than meat can"},
		{true, "water boils 1 °C lower for every 300 m", "water boils 1 °C lower for every 300 m"},
		{false, "±2 °F", "±2 °F"},
		{false, "no temperature at all", "no temperature at all"},
	} {
		if got := (Reader{Fahrenheit: tc.fahrenheit}).inBothScales(tc.text); got != tc.want {
			t.Errorf("%q, °F %v: %q, want %q", tc.text, tc.fahrenheit, got, tc.want)
		}
	}
}

// What stands in a record is shown as it stands there, and so is what somebody typed.
func TestShown_LeavesRecordsAndFormsAlone(t *testing.T) {
	see := Reader{Fahrenheit: true}
	html := `<p>at 60 °C</p><dl class="said"><div><dd>at 60 °C</dd></div></dl><textarea>60 °C</textarea><p>5 °C</p>`
	want := `<p>at 60 °C (140` + "\u00a0" + `°F)</p><dl class="said"><div><dd>at 60 °C</dd></div></dl><textarea>60 °C</textarea><p>5 °C (41` + "\u00a0" + `°F)</p>`
	if got := string(see.shown([]byte(html))); got != want {
		t.Errorf("shown = %s, want %s", got, want)
	}
}
