package notify

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
)

func TestTest_GoesOutAtOnceAndSaysHowItWent(t *testing.T) {
	r := newRig(t)
	var sent []Message
	r.say = func(m Message) error { return errors.New("no route") }
	r.raise("a")
	r.pass(t, 10*time.Minute) // the path rests now for minutes
	r.say = func(m Message) error { sent = append(sent, m); return nil }
	r.o.Senders["phone"] = nil // the lane has it
	r.lanes["phone"].sender = sendFunc(r.say)
	_, outcome, err := r.ask("phone", "KM")
	if err != nil {
		t.Fatal(err)
	}
	r.pass(t, time.Second)
	select {
	case err := <-outcome:
		if err != nil {
			t.Errorf("outcome %v", err)
		}
	default:
		t.Error("the test was not tried")
	}
	if len(sent) != 2 || sent[1].For != Test || sent[1].Why != "KM asked for a test" {
		t.Errorf("sent %v, want what waited and then the test", sent)
	}
	if got := sent[1].Text(time.UTC, ""); !strings.Contains(got, "Nothing is wrong") {
		t.Errorf("text %q", got)
	}
}

func TestTest_TellsWhatWentWrong(t *testing.T) {
	r := newRig(t)
	r.say = func(Message) error { return errors.New("no route") }
	_, outcome, err := r.ask("phone", "")
	if err != nil {
		t.Fatal(err)
	}
	r.pass(t, time.Second)
	if err := <-outcome; err == nil || err.Error() != "no route" {
		t.Errorf("outcome %v, want no route", err)
	}
	if _, _, err := r.ask("pigeon", ""); !errors.Is(err, ErrNoPath) {
		t.Errorf("by a path that is not there: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := r.Test(ctx, "phone", "KM"); !errors.Is(err, ErrWaiting) { // nobody turns the notifier
		t.Errorf("Test = %v, want %v", err, ErrWaiting)
	}
}

func TestPaths_CountsWhatWaitsAndWhatFailed(t *testing.T) {
	r := newRig(t)
	r.raise("a")
	r.pass(t, time.Second)
	r.say = func(Message) error { return errors.New("no route") }
	r.raise("b")
	r.pass(t, 20*time.Second)
	got, err := r.Paths(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := PathState{Name: "phone", Since: evening.Add(time.Second), Pending: 1, Oldest: evening.Add(time.Second), Sent: 1, Failures: 3}
	if len(got) != 1 || got[0] != want {
		t.Errorf("paths %+v, want %+v", got, want)
	}
}

// again is a receiver that forgets.
type again struct {
	r    *rig
	sent []string
}

func (a *again) Send(_ context.Context, m Message) error {
	return a.r.say(m)
}

func (a *again) Refresh(_ context.Context, _ string, standing []Item, now time.Time) error {
	var ids []string
	for _, it := range standing {
		ids = append(ids, string(it.Alarm.ID))
	}
	a.sent = append(a.sent, now.Sub(evening).String()+" "+strings.Join(ids, " "))
	return a.r.say(Message{})
}

func (a *again) Every() time.Duration { return time.Minute }

func TestRefresh_SaysAgainWhatStandsUntilItIsOver(t *testing.T) {
	r := newRig(t)
	a := &again{r: r}
	r.lanes["phone"].sender, r.lanes["phone"].refresher = a, a
	r.pass(t, 2*time.Minute) // nothing stands, nothing is said
	r.raise("a")
	raised := r.now
	r.pass(t, 2*time.Minute)
	r.raise("b")
	r.pass(t, time.Minute+time.Second)
	for _, id := range []alarm.ID{"a", "b"} {
		r.d.facts = append(r.d.facts, Fact{Alarm: alarm.Alarm{ID: id, Priority: alarm.High, State: alarm.Normal, Raised: raised, Returned: r.now}, Because: "Gone.", Tell: true})
	}
	r.pass(t, 5*time.Minute)
	if want := []string{"2m0s a", "3m0s a", "4m0s a b", "5m0s a b"}; !slices.Equal(a.sent, want) {
		t.Errorf("refreshed %q, want %q", a.sent, want)
	}
	// A receiver that is not there when it is to be told again counts as a path that fails.
	r.raise("c")
	r.pass(t, time.Second)
	r.say = func(Message) error { return errors.New("no route") }
	r.pass(t, 6*time.Minute)
	if got := r.Trouble(); !strings.Contains(got, "Messages by phone have failed since") {
		t.Errorf("trouble %q", got)
	}
}
