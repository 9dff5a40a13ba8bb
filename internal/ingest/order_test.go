package ingest

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/internal/cook"
)

// TestIntake_OrderAndRepetitionDoNotMatter: readings with a time of their own give the same store however they come.
func TestIntake_OrderAndRepetitionDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "readings")
		var messages []Message
		want := map[string]cook.Reading{}
		for i := range n {
			at := noon.Add(-time.Duration(rapid.IntRange(0, 10).Draw(t, "age")) * time.Minute)
			probe := rapid.SampledFrom([]string{"core", "flat", "pit/left"}).Draw(t, "probe")
			celsius := float64(at.Unix()%97) + float64(len(probe)) // one value for one probe and time
			payload := fmt.Sprintf(`{"celsius":%v,"time":%q}`, celsius, at.Format(time.RFC3339))
			if i%2 == 1 {
				payload = fmt.Sprintf(`[{"n":"x","u":"Cel","t":%d,"v":%v}]`, at.Unix(), celsius)
			}
			messages = append(messages, Message{Topic: TopicPrefix + probe, Payload: []byte(payload)})
			want[fmt.Sprint(cook.ProbeID(probe), at.UnixMicro())] = cook.Reading{}
		}
		repeated := append(slices.Clone(messages), rapid.SliceOf(rapid.SampledFrom(messages)).Draw(t, "repeated")...)
		sink := newSink()
		in := New(mustDecoder(t, nil), sink, frozen)
		for _, m := range rapid.Permutation(repeated).Draw(t, "order") {
			if err := in.Handle(t.Context(), m, func(error) {}); err != nil {
				t.Fatal(err)
			}
		}
		got := slices.Sorted(maps.Keys(sink.readings))
		if all := slices.Sorted(maps.Keys(want)); !slices.Equal(got, all) {
			t.Errorf("stored %v, want %v", got, all)
		}
		if s := in.Stats(); s.Conflicts != 0 || s.Stored+s.Duplicates != int64(len(repeated)) {
			t.Errorf("Stats() = %+v for %d messages", s, len(repeated))
		}
	})
}
