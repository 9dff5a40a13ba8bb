package ingest

import (
	"slices"
	"testing"
	"time"
)

func TestDecodeBoard(t *testing.T) {
	for _, test := range []struct {
		topic, payload string
		want           Board
		ok             bool
	}{
		{"stallkeeper/probe/shed/status", `{"online":true,"interval_s":10,"probes":{"flat":{"ok":true}}}`, Board{Name: "shed", Online: true}, true},
		{"stallkeeper/probe/shed/status", `{"online":false}`, Board{Name: "shed"}, true},
		{"stallkeeper/probe/shed/status", `{"probes":{}}`, Board{}, false},
		{"stallkeeper/probe/shed/status", `offline`, Board{}, false},
		{"stallkeeper/probe/shed/roof/status", `{"online":true}`, Board{}, false},
		{"stallkeeper/probe//status", `{"online":true}`, Board{}, false},
		{"stallkeeper/reading/shed", `{"online":true}`, Board{}, false},
	} {
		got, ok := DecodeBoard(test.topic, []byte(test.payload))
		if ok != test.ok || got.Name != test.want.Name || got.Online != test.want.Online {
			t.Errorf("DecodeBoard(%s, %s) = %+v, %v, want %+v, %v", test.topic, test.payload, got, ok, test.want, test.ok)
		}
		if got.Online && !slices.Contains(got.Probes, "flat") {
			t.Errorf("probes = %v", got.Probes)
		}
	}
}

// What stallkeeper-probe says in its status (cmd/stallkeeper-probe/internal/station, health).
func TestDecodeBoard_BatteryAndFaults(t *testing.T) {
	got, ok := DecodeBoard("stallkeeper/probe/shed/status", []byte(`{"online":true,"time":"2026-07-04T21:10:00Z","battery_percent":17,
		"probes":{"flat":{"ok":true},"pit":{"ok":false,"fault":"no-device","text":"no sensor answers"},"yard":{"ok":false}}}`))
	if !ok || got.Battery == nil || *got.Battery != 17 || !got.Time.Equal(time.Date(2026, 7, 4, 21, 10, 0, 0, time.UTC)) {
		t.Fatalf("got %+v, %v: want 17 %% at 21:10", got, ok)
	}
	if len(got.Faults) != 2 || got.Faults["pit"] != "no sensor answers" || got.Faults["yard"] == "" {
		t.Errorf("faults %v: want those of pit and yard", got.Faults)
	}
	for _, none := range []string{`null`, `"full"`, `-1`, `101`, `1e999`} {
		got, ok := DecodeBoard("stallkeeper/probe/shed/status", []byte(`{"online":true,"battery_percent":`+none+`}`))
		if !ok || got.Battery != nil {
			t.Errorf("battery_percent %s became %v: want none", none, got.Battery)
		}
	}
}
