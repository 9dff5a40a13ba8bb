package broker

import (
	"cmp"
	"slices"
	"sync"
	"time"
)

// Unheard is a topic on which something was published that nobody took: neither the daemon nor a subscriber. Mostly it is a slip of the pen.
type Unheard struct {
	Topic string // at most maxUnheardTopic bytes of it
	Times int64
	Last  time.Time
}

// What a stranger who publishes everywhere may take of memory, and of a page.
const (
	maxUnheard      = 8
	maxUnheardTopic = 120
)

// unheard keeps the topics that were published last, a few of them.
type unheard struct {
	mu     sync.Mutex // guards topics
	topics []Unheard
}

func (u *unheard) note(topic string, at time.Time) {
	if len(topic) > maxUnheardTopic {
		topic = topic[:maxUnheardTopic]
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	i := slices.IndexFunc(u.topics, func(t Unheard) bool { return t.Topic == topic })
	if i < 0 {
		i = len(u.topics)
		if i == maxUnheard {
			i = 0
			for j, t := range u.topics {
				if t.Last.Before(u.topics[i].Last) {
					i = j
				}
			}
			u.topics[i] = Unheard{}
		} else {
			u.topics = append(u.topics, Unheard{})
		}
		u.topics[i].Topic = topic
	}
	u.topics[i].Times++
	u.topics[i].Last = at
}

// Unheard lists the newest topics that nobody took, newest first.
func (b *Broker) Unheard() []Unheard {
	b.unheard.mu.Lock()
	defer b.unheard.mu.Unlock()
	return slices.SortedFunc(slices.Values(b.unheard.topics), func(x, y Unheard) int {
		return cmp.Or(y.Last.Compare(x.Last), cmp.Compare(x.Topic, y.Topic))
	})
}
