package broker

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

func TestUnheard_KeepsTheNewestFew(t *testing.T) {
	start := time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)
	b := &Broker{}
	for i := range 1000 {
		b.unheard.note(fmt.Sprintf("noise/%d/%s", i, strings.Repeat("x", 300)), start.Add(time.Duration(i)*time.Second))
	}
	for i := range 3 {
		b.unheard.note("stallkeper/reading/flat", start.Add(time.Hour+time.Duration(i)*time.Second))
	}
	got := b.Unheard()
	if len(got) != maxUnheard || got[0].Topic != "stallkeper/reading/flat" || got[0].Times != 3 || !got[0].Last.Equal(start.Add(time.Hour+2*time.Second)) {
		t.Errorf("kept %+v, want %d, the slip of the pen first", got, maxUnheard)
	}
	if !strings.HasPrefix(got[1].Topic, "noise/999/") || len(got[1].Topic) != maxUnheardTopic {
		t.Errorf("the second is %q, want the newest of the noise, cut", got[1].Topic)
	}
}
