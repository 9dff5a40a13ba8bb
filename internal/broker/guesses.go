package broker

import (
	"net/netip"
	"sync"
	"time"
)

// Bounds of wrong passwords. Choices of this project: a device with a wrong password in its settings, which tries again every few
// seconds, and a stranger who guesses both cost little. They count by address and name, so that neither keeps others out.
const (
	maxGuesses  = 10 // of one address for one name within guessWindow
	guessWindow = 5 * time.Minute
	maxGuessers = 4096
)

// guesser is an address – a whole IPv6 network counts as one – with the name that it gives; all names that nobody has are one.
type guesser struct {
	from netip.Prefix
	name string
}

// wrong are the wrong passwords of a guesser.
type wrong struct {
	n     int
	until time.Time
}

// over reports whether they count no more. What lies further ahead than the window is from before the clock was put back.
func (w wrong) over(now time.Time) bool {
	left := w.until.Sub(now)
	return left <= 0 || left > guessWindow
}

// guesses counts wrong passwords.
type guesses struct {
	now func() time.Time

	mu     sync.Mutex // guards failed
	failed map[guesser]wrong
}

// wait tells how long no password is looked at; 0: it is.
func (g *guesses) wait(who guesser) time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	w, known := g.failed[who]
	if known && w.n >= maxGuesses && !w.over(now) {
		return w.until.Sub(now)
	}
	if !known && len(g.failed) >= maxGuessers {
		for k, w := range g.failed {
			if w.over(now) {
				delete(g.failed, k)
			}
		}
		if len(g.failed) >= maxGuessers {
			return guessWindow
		}
	}
	return 0
}

// fail counts a wrong password.
func (g *guesses) fail(who guesser) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	w, known := g.failed[who]
	if !known && len(g.failed) >= maxGuessers {
		return // wait keeps them all out
	}
	if w.over(now) {
		w = wrong{}
	}
	g.failed[who] = wrong{w.n + 1, now.Add(guessWindow)}
}

// addressOf gives the address of a connection as it counts; the zero Prefix for all that cannot be told apart.
func addressOf(remote string) netip.Prefix {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return netip.Prefix{}
	}
	ip := at.Addr().Unmap().WithZone("")
	bits := ip.BitLen()
	if ip.Is6() {
		bits = 64
	}
	return netip.PrefixFrom(ip, bits).Masked()
}
