package web

import (
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"stallkeeper/internal/web/api"
)

// Bounds of connections. A browser opens six (HTTP/1.1), a page its live stream; each connection takes some 20 KiB. Choices of this project.
const (
	maxConnections = 320
	saidEvery      = time.Minute // how often the log says that connections were ended
)

// doorway bounds the connections that are open. One too many ends the one that has rested, or has been answered, for longest; live streams
// stay. So whoever asks at once is answered while others come only to hold a place.
type doorway struct {
	log *slog.Logger
	now func() time.Time

	mu    sync.Mutex // guards what follows
	come  uint64
	open  map[net.Conn]*guest
	ended int // since the log said so
	said  time.Time
}

// guest is an open connection.
type guest struct {
	since  uint64 // when it came, or its last request came or was answered, as a number
	stream bool   // it carries the live stream
}

func newDoorway(log *slog.Logger, now func() time.Time) *doorway {
	return &doorway{log: log, now: now, open: map[net.Conn]*guest{}}
}

// state is the server's ConnState hook.
func (d *doorway) state(c net.Conn, s http.ConnState) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.come++
	switch g := d.open[c]; {
	case s == http.StateNew:
		d.open[c] = &guest{since: d.come}
		if len(d.open) > maxConnections {
			d.makeRoom()
		}
	case s == http.StateClosed, s == http.StateHijacked:
		delete(d.open, c)
	case g != nil:
		g.since, g.stream = d.come, false
	}
}

// makeRoom ends one connection. It needs mu.
func (d *doorway) makeRoom() {
	var worst net.Conn
	for c, g := range d.open {
		if w := d.open[worst]; !g.stream && (w == nil || g.since < w.since) {
			worst = c
		}
	}
	if worst == nil {
		return // all are live streams, which have a bound of their own
	}
	delete(d.open, worst)
	if secret, ok := worst.(*tls.Conn); ok {
		worst = secret.NetConn() // without a goodbye, which might wait
	}
	_ = worst.Close() // it is given up
	d.ended++
	if now := d.now(); now.Sub(d.said) >= saidEvery || now.Before(d.said) {
		d.log.Warn("connections of the pages were ended to make room for others: many are open, idle or slow; look who opens them",
			"open", maxConnections, "ended", d.ended, "last", worst.RemoteAddr())
		d.said, d.ended = now, 0
	}
}

// connKey finds the connection of a request in its context.
type connKey struct{}

func withConn(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, connKey{}, c)
}

// streams notes which connections carry live streams.
func (d *doorway) streams(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, ok := r.Context().Value(connKey{}).(net.Conn); ok && r.URL.Path == api.LivePath {
			d.mu.Lock()
			if g := d.open[c]; g != nil {
				g.stream = true
			}
			d.mu.Unlock()
		}
		next.ServeHTTP(w, r)
	})
}
