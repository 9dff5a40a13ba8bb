package notify

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

func (c *Core) hold(path string, it Item) { c.s.Held[path] = append(c.s.Held[path], it) }

// unhold takes back what is held of an alarm.
func (c *Core) unhold(path string, it Item) {
	rest := slices.DeleteFunc(c.s.Held[path], func(h Item) bool {
		return h.Alarm.ID == it.Alarm.ID && h.Alarm.Raised.Equal(it.Alarm.Raised)
	})
	if len(rest) == 0 {
		delete(c.s.Held, path)
		return
	}
	c.s.Held[path] = rest
}

// letGo drops what is held of a climb; nobody was told of it there.
func (c *Core) letGo(k *climb) {
	for path, t := range k.Told {
		if t.Held {
			c.unhold(path, k.Item)
			delete(k.Told, path)
		}
	}
}

// release sends what quiet hours held back once they have ended, one message for each path. A person who is reached by
// several paths gets each matter by the first of them only.
func (c *Core) release(now time.Time) []Message {
	var out []Message
	seen := map[string]bool{}
	for _, r := range c.ladder.Routes {
		items := c.s.Held[r.Path]
		if len(items) == 0 || c.ladder.person(r.Person).quiet(now) {
			continue
		}
		delete(c.s.Held, r.Path)
		var ids []any
		var fresh []Item
		for _, it := range items {
			name := fmt.Sprint(it.Alarm.ID, it.Alarm.Raised.UnixMicro())
			c.released(now, r.Path, it)
			if mark := r.Person + "/" + name; !seen[mark] {
				seen[mark] = true
				fresh = append(fresh, it)
				ids = append(ids, name)
			}
		}
		if len(fresh) == 0 {
			continue
		}
		slices.SortStableFunc(fresh, func(a, b Item) int { return cmp.Compare(rank(b), rank(a)) })
		out = append(out, Message{ID: identify(append(ids, r.Path, Held, now.Format(time.DateOnly))...), Path: r.Path, Made: now.UTC(), For: Held,
			Why: "your quiet hours are over", Items: fresh})
	}
	return out
}

// rank orders what stands before what is over.
func rank(it Item) int {
	if it.Firing {
		return 1
	}
	return 0
}

// released notes that a held alarm has been told.
func (c *Core) released(now time.Time, path string, it Item) {
	k := c.s.Climbs[it.Alarm.ID]
	if k == nil || !k.Item.Alarm.Raised.Equal(it.Alarm.Raised) {
		return
	}
	if t := k.Told[path]; t != nil && t.Held {
		t.Held, t.First, t.Last, t.Times = false, now, now, 1
	}
}
