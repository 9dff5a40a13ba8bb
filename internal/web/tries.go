package web

import (
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/web/problem"
)

// Bounds of wrong passwords. They count by address and not by name, so that nobody can lock somebody else out; guessing
// from many addresses is bounded by hashing one password at a time. Choices of this project.
const (
	maxFailures   = 5 // of one address within failureWindow
	failureWindow = 5 * time.Minute
	maxAddresses  = 4096
)

// failures are the wrong passwords of an address.
type failures struct {
	n     int
	until time.Time
}

func tooOften(wait time.Duration) error {
	seconds := strconv.Itoa(int(wait/time.Second) + 1)
	e := problem.New(http.StatusTooManyRequests, "Too many tries", "too many wrong passwords came from this address: wait "+seconds+" seconds")
	e.Header = http.Header{"Retry-After": {seconds}}
	return e
}

// address is where a request comes from: a whole IPv6 network counts as one.
func (g *gate) address(r *http.Request) netip.Prefix {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	if forwarded := r.Header.Values("X-Forwarded-For"); g.proxy && len(forwarded) > 0 {
		all := forwarded[len(forwarded)-1]
		host = strings.TrimSpace(all[strings.LastIndex(all, ",")+1:]) // what the nearest proxy saw
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Prefix{} // all that cannot be told apart share one allowance
	}
	ip = ip.Unmap().WithZone("")
	bits := ip.BitLen()
	if ip.Is6() {
		bits = 64
	}
	return netip.PrefixFrom(ip, bits).Masked()
}

func (g *gate) mustWait(from netip.Prefix) time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	f, known := g.failed[from]
	if wait := f.until.Sub(now); known && f.n >= maxFailures && wait > 0 && wait <= failureWindow { // longer: the clock was put back
		return wait
	}
	if !known && len(g.failed) >= maxAddresses {
		for a, f := range g.failed {
			if wait := f.until.Sub(now); wait <= 0 || wait > failureWindow {
				delete(g.failed, a)
			}
		}
		if len(g.failed) >= maxAddresses {
			return failureWindow
		}
	}
	return 0
}

func (g *gate) failedAt(from netip.Prefix) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	f := g.failed[from]
	if wait := f.until.Sub(now); wait <= 0 || wait > failureWindow {
		f = failures{}
	}
	g.failed[from] = failures{f.n + 1, now.Add(failureWindow)}
}
