package notify

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/when"
)

// Fact is a change of an alarm.
type Fact struct {
	Alarm   alarm.Alarm `json:"alarm"` // as it stands after the change
	Because string      `json:"because"`
	Tell    bool        `json:"tell"` // people are to be told; acknowledgements count without it
}

// DeliveryID is the alarm that a path fails; it is not sent by the paths that do.
const DeliveryID = alarm.ID(alarm.IntakeBroken + "/delivery")

// Core decides who is told. It belongs to one goroutine, reads no clock and does no I/O.
type Core struct {
	ladder Ladder
	s      state
}

// state is what must survive a restart, together with the messages that came out.
type state struct {
	Climbs map[alarm.ID]*climb `json:"climbs"`
	Held   map[string][]Item   `json:"held"` // by path: what waits for the end of the quiet hours
	Tested time.Time           `json:"tested"`
}

// climb is an alarm on its way up the ladder.
type climb struct {
	Item    Item             `json:"item"`
	Since   time.Time        `json:"since"`   // the ladder's delays count from here
	Number  int              `json:"number"`  // 1 for the first climb since it was raised
	Stopped bool             `json:"stopped"` // acknowledged or put aside
	Told    map[string]*told `json:"told"`    // by path
}

type told struct {
	Climb int       `json:"climb"` // in which climb the last time
	First time.Time `json:"first"`
	Last  time.Time `json:"last"`
	Times int       `json:"times"`
	Held  bool      `json:"held"`
}

// NewCore begins with nothing told.
func NewCore(l Ladder) *Core {
	return &Core{ladder: l, s: state{Climbs: map[alarm.ID]*climb{}, Held: map[string][]Item{}}}
}

// Restore takes over a state from State; empty makes the core as new. Paths that are no longer there are dropped.
func (c *Core) Restore(kept []byte) error {
	s := NewCore(c.ladder).s
	if len(kept) == 0 {
		c.s = s
		return nil
	}
	if err := json.Unmarshal(kept, &s); err != nil {
		return fmt.Errorf("read the state of the messages: %w", err)
	}
	maps.DeleteFunc(s.Held, func(path string, _ []Item) bool { _, ok := c.ladder.route(path); return !ok })
	c.s = s
	return nil
}

// State is what Restore takes; equal states give equal bytes.
func (c *Core) State() ([]byte, error) { return json.Marshal(c.s) }

// Step takes changes of alarms, lets the time come to now, and gives the messages that are due. failing names paths that
// do not deliver at present.
func (c *Core) Step(now time.Time, facts []Fact, failing map[string]bool) []Message {
	now = now.In(c.ladder.Zone)
	c.stepBack(now)
	var out []Message
	for _, f := range facts {
		out = append(out, c.take(now, f)...)
	}
	for _, id := range slices.Sorted(maps.Keys(c.s.Climbs)) {
		out = append(out, c.climb(now, c.s.Climbs[id], failing)...)
	}
	out = append(out, c.release(now)...)
	return append(out, c.test(now)...)
}

func (c *Core) take(now time.Time, f Fact) []Message {
	k := c.s.Climbs[f.Alarm.ID]
	switch f.Alarm.State {
	case alarm.Active:
		if f.Tell {
			c.begin(now, k, f)
		}
		return nil
	case alarm.Acked, alarm.Shelved:
		if k != nil && !k.Stopped {
			return c.stop(now, k, f)
		}
	case alarm.Returned, alarm.Normal:
		if k != nil {
			delete(c.s.Climbs, f.Alarm.ID)
			return c.over(now, k, f)
		}
	}
	return nil
}

// begin starts a climb, or starts it anew when the alarm became more urgent or came back from being put aside.
func (c *Core) begin(now time.Time, k *climb, f Fact) {
	item := Item{Alarm: f.Alarm, Because: f.Alarm.Because, Firing: true}
	if k == nil || !k.Item.Alarm.Raised.Equal(f.Alarm.Raised) {
		c.s.Climbs[f.Alarm.ID] = &climb{Item: item, Since: now, Number: 1, Told: map[string]*told{}}
		return
	}
	if !k.Stopped && k.Item.Alarm.Priority == f.Alarm.Priority {
		return
	}
	c.letGo(k)
	if f.Alarm.Priority != k.Item.Alarm.Priority {
		item.Was = k.Item.Alarm.Priority
	}
	k.Item, k.Since, k.Stopped = item, now, false
	k.Number++
}

// stepBack lets the delays count from now where a clock that was put back would make them far too long.
func (c *Core) stepBack(now time.Time) {
	for _, k := range c.s.Climbs {
		if k.Since.After(now) {
			k.Since = now
		}
		for _, t := range k.Told {
			if t.Last.After(now) {
				t.Last = now
			}
		}
	}
}

// Missed gives the changes that the core has not heard of, from the alarms as they stand: what happened while messages
// were off. People are told of what still stands, not of what has ended.
func (c *Core) Missed(standing []alarm.Alarm) []Fact {
	var out []Fact
	for _, id := range slices.Sorted(maps.Keys(c.s.Climbs)) {
		k := c.s.Climbs[id]
		f := Fact{Alarm: k.Item.Alarm, Because: "It ended while no messages were sent."}
		f.Alarm.State = alarm.Normal
		i := slices.IndexFunc(standing, func(a alarm.Alarm) bool { return a.ID == id && a.Raised.Equal(k.Item.Alarm.Raised) })
		if i >= 0 {
			f.Alarm = standing[i]
		}
		known := f.Alarm.State == alarm.Active || k.Stopped && (f.Alarm.State == alarm.Acked || f.Alarm.State == alarm.Shelved)
		if !known {
			out = append(out, f)
		}
	}
	for _, a := range standing {
		if k := c.s.Climbs[a.ID]; a.State == alarm.Active && a.Told && (k == nil || !k.Item.Alarm.Raised.Equal(a.Raised)) {
			out = append(out, Fact{Alarm: a, Because: a.Because, Tell: true})
		}
	}
	return out
}

// climb gives the messages whose rung is reached.
func (c *Core) climb(now time.Time, k *climb, failing map[string]bool) []Message {
	var out []Message
	sooner := c.sooner(k, failing)
	for _, r := range c.ladder.Routes {
		wait, uses := r.After[k.Item.Alarm.Priority]
		if !uses || k.Stopped || now.Before(k.Since.Add(wait)) && r.Path != sooner || k.Item.Alarm.ID == DeliveryID && failing[r.Path] {
			continue
		}
		t := k.Told[r.Path]
		if t != nil && t.Climb == k.Number && (t.Held || r.Again == 0 || now.Before(t.Last.Add(r.Again))) {
			continue
		}
		if c.ladder.person(r.Person).holds(now, k.Item.Alarm.Priority) {
			k.Told[r.Path] = &told{Climb: k.Number, First: now, Last: now, Held: true}
			c.hold(r.Path, k.Item)
			continue
		}
		out = append(out, c.tell(now, k, r))
	}
	return out
}

// sooner names the path that is next on the ladder of a High alarm when no path that was used for it delivers, so that
// nobody waits for an answer to what did not arrive; empty otherwise.
func (c *Core) sooner(k *climb, failing map[string]bool) string {
	if k.Item.Alarm.Priority != alarm.High {
		return ""
	}
	next, used := Route{}, false
	for _, r := range c.ladder.Routes {
		t, wait := k.Told[r.Path], r.After[alarm.High]
		switch _, uses := r.After[alarm.High]; {
		case t != nil && t.Climb == k.Number && !failing[r.Path]:
			return ""
		case t != nil && t.Climb == k.Number:
			used = true
		case uses && !failing[r.Path] && (next.Path == "" || wait < next.After[alarm.High]):
			next = r
		}
	}
	if !used {
		return ""
	}
	return next.Path
}

// tell sends an alarm by a path and notes that.
func (c *Core) tell(now time.Time, k *climb, r Route) Message {
	t := k.Told[r.Path]
	reason, why := Raised, "it began"
	switch {
	case now.Before(k.Since.Add(r.After[k.Item.Alarm.Priority])):
		why = "the paths before this one do not deliver"
	case t != nil && t.Climb == k.Number:
		reason, why = Again, fmt.Sprintf("nobody has acknowledged it for %s", when.Span(now.Sub(k.Since)))
	case k.Item.Was != "":
		why = "it became more urgent"
	case k.Number > 1:
		why = "it was put aside and is still so"
	case r.After[k.Item.Alarm.Priority] > 0:
		why = fmt.Sprintf("nobody has acknowledged it for %s", when.Span(now.Sub(k.Since)))
	}
	if t == nil || t.Held {
		t = &told{First: now}
		k.Told[r.Path] = t
	}
	t.Climb, t.Last, t.Times = k.Number, now, t.Times+1
	return message(now, r.Path, reason, why, k, t.Times)
}

func message(now time.Time, path string, reason Reason, why string, k *climb, times int) Message {
	a := k.Item.Alarm // put aside after it returned, an alarm comes back under the time at which it was first raised: Since tells them apart
	return Message{ID: identify(a.ID, a.Raised.UnixMicro(), k.Since.UnixMicro(), k.Number, path, reason, times), Path: path, Made: now.UTC(), For: reason, Why: why, Items: []Item{k.Item}}
}

// stop ends the climb because a person knows.
func (c *Core) stop(now time.Time, k *climb, f Fact) []Message {
	k.Stopped = true
	k.Item.Alarm.State, k.Item.Alarm.Acknowledged, k.Item.Alarm.By, k.Item.ByWhom = f.Alarm.State, f.Alarm.Acknowledged, f.Alarm.By, f.Alarm.By
	c.letGo(k)
	var out []Message
	first := c.firstPaths(k)
	for _, r := range c.ladder.Routes {
		switch {
		case k.Told[r.Path] == nil:
		case r.Person == "" && r.Acks:
			out = append(out, message(now, r.Path, Acknowledged, "a person knows", k, k.Number))
		case r.Person != "" && r.Person != f.Alarm.By && len(first) > 1 && first[r.Person] == r.Path:
			out = append(out, message(now, r.Path, Acknowledged, "you were told of it too", k, k.Number))
		}
	}
	return out
}

// over tells that it ended, to those who were told that it began. Nobody is told when another alarm covers it, but for machines.
func (c *Core) over(now time.Time, k *climb, f Fact) []Message {
	acknowledged := k.Stopped
	k.Item.Alarm.State, k.Item.Alarm.Returned = f.Alarm.State, f.Alarm.Returned
	k.Item.Because, k.Item.Firing = f.Because, false
	var out []Message
	first := c.firstPaths(k)
	for _, r := range c.ladder.Routes {
		t := k.Told[r.Path]
		switch {
		case t == nil:
		case t.Held:
			c.unhold(r.Path, k.Item)
			if f.Tell {
				c.hold(r.Path, k.Item)
			}
		case r.Person == "":
			out = append(out, message(now, r.Path, Over, "you were told that it began", k, 1))
		case !f.Tell || first[r.Person] != r.Path:
		case acknowledged && c.ladder.person(r.Person).quiet(now):
			c.hold(r.Path, k.Item)
		default:
			out = append(out, message(now, r.Path, Over, "you were told that it began", k, 1))
		}
	}
	return out
}

// standing gives what people or machines on a path were told of and what is not over.
func (c *Core) standing(path string) []Item {
	var out []Item
	for _, id := range slices.Sorted(maps.Keys(c.s.Climbs)) {
		if t := c.s.Climbs[id].Told[path]; t != nil && !t.Held {
			it := c.s.Climbs[id].Item
			it.Was = "" // that it was less urgent has been said
			out = append(out, it)
		}
	}
	return out
}

// firstPaths gives for each person who was told the path that told them first.
func (c *Core) firstPaths(k *climb) map[string]string {
	out := map[string]string{}
	for _, r := range c.ladder.Routes {
		t := k.Told[r.Path]
		if t == nil || t.Held || r.Person == "" {
			continue
		}
		if best, ok := out[r.Person]; !ok || t.First.Before(k.Told[best].First) {
			out[r.Person] = r.Path
		}
	}
	return out
}

// testWithin is how late a daily test may come, after a start for instance, before it waits for the next day.
const testWithin = time.Hour

func (c *Core) test(now time.Time) []Message {
	if !c.ladder.Test {
		return nil
	}
	at := time.Date(now.Year(), now.Month(), now.Day(), int(c.ladder.TestAt)/60, int(c.ladder.TestAt)%60, 0, 0, c.ladder.Zone)
	if now.Before(at) || now.Sub(at) > testWithin || !c.s.Tested.Before(at) {
		return nil
	}
	c.s.Tested = now.UTC()
	var out []Message
	for _, r := range c.ladder.Routes {
		out = append(out, Message{ID: identify("test", at.Format(time.DateOnly), r.Path), Path: r.Path, Made: now.UTC(), For: Test,
			Why: fmt.Sprintf("a test is wanted every day at %s; if it stops coming, look why", at.Format("15:04"))})
	}
	return out
}
