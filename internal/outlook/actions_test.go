package outlook

import (
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
)

func TestActions_AWrapWithATemperatureWaitsForTheCore(t *testing.T) {
	at := time.Date(2026, 5, 3, 2, 0, 0, 0, time.UTC)
	got, err := Actions([]cook.Event{{Time: at, Kind: cook.EventWrap, With: "paper", Celsius: 70}, {Time: at, Kind: cook.EventSetPoint, Celsius: 121}}, at)
	if err != nil {
		t.Fatal(err)
	}
	want := []estimator.Action{{Kind: estimator.Wrap, With: estimator.Paper, At: at, AtCore: 70}, {Kind: estimator.SetPoint, Celsius: 121, At: at}}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("Actions = %v, want %v", got, want)
	}
	if _, err := Actions([]cook.Event{{Time: at, Kind: cook.EventWrap, With: "paper", Celsius: 200}}, at); err == nil {
		t.Error("a wrap at 200 °C core is taken")
	}
}
