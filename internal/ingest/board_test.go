package ingest

import (
	"slices"
	"testing"
)

func TestDecodeBoard(t *testing.T) {
	for _, test := range []struct {
		topic, payload string
		want           Board
		ok             bool
	}{
		{"stallkeeper/probe/shed/status", `{"online":true,"interval_s":10,"probes":{"flat":{"ok":true}}}`, Board{"shed", true, nil}, true},
		{"stallkeeper/probe/shed/status", `{"online":false}`, Board{"shed", false, nil}, true},
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
