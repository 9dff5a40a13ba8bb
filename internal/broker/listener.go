package broker

import (
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

const (
	firstPacketWithin = 10 * time.Second // TLS handshake and CONNECT
	strangers         = 64               // connections beyond MaxClients that may be about to log in
	leaving           = 64               // and beyond these, of strangers that are being sent away
	acceptPause       = 50 * time.Millisecond
)

// listener accepts connections with limits that hold before a client has said who it is. It is a listeners.Listener.
type listener struct {
	b     *Broker
	net   net.Listener
	end   atomic.Bool
	open  atomic.Int64
	conns sync.WaitGroup
	ready sync.WaitGroup // the accept loop

	mu   sync.Mutex       // guards live and come
	live map[*conn]uint64 // which connection of all it was
	come uint64
}

func (l *listener) ID() string              { return "mqtt" }
func (l *listener) Address() string         { return l.net.Addr().String() }
func (l *listener) Protocol() string        { return "tcp" }
func (l *listener) Init(*slog.Logger) error { l.ready.Add(1); return nil }

// stop takes no new connections.
func (l *listener) stop() {
	if !l.end.Swap(true) {
		if err := l.net.Close(); err != nil {
			l.b.log.Warn("close mqtt port", "error", err)
		}
	}
}

// Close ends all clients, for the library.
func (l *listener) Close(closeClients listeners.CloseFn) {
	l.stop()
	closeClients(l.ID())
}

// hangUp ends the accept loop and all connections, and returns when they have ended. The library's own way of waiting
// for its clients races with those that are just connecting.
func (l *listener) hangUp() {
	l.stop()
	l.ready.Wait()
	l.mu.Lock()
	for c := range l.live {
		_ = c.Close() // never fails
	}
	l.mu.Unlock()
	l.conns.Wait()
}

// keep notes a connection until forget is called.
func (l *listener) keep(c *conn) (forget func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.come++
	l.live[c] = l.come
	return func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		delete(l.live, c)
	}
}

// makeRoom sends the stranger away who has waited longest. Whoever logs in at once finds a place also while others come
// only to hold one.
func (l *listener) makeRoom() {
	l.mu.Lock()
	var oldest *conn
	for c, n := range l.live {
		if c.stranger() && (oldest == nil || n < l.live[oldest]) {
			oldest = c
		}
	}
	l.mu.Unlock()
	if oldest == nil {
		return
	}
	l.b.refused.Add(1)
	l.b.log.Warn("mqtt connection sent away: too many connections that do not log in", "remote", oldest.RemoteAddr(), "connections", l.open.Load())
	_ = oldest.Close() // never fails
}

// Serve accepts until stop.
func (l *listener) Serve(establish listeners.EstablishFn) {
	defer l.ready.Done()
	for !l.end.Load() {
		c, err := l.net.Accept()
		switch {
		case errors.Is(err, net.ErrClosed):
			return
		case err != nil: // out of file descriptors, or a connection that broke meanwhile
			time.Sleep(acceptPause)
			continue
		case l.open.Load() >= int64(l.b.opts.MaxClients+strangers+leaving):
			l.b.refused.Add(1)
			_ = c.Close() // refused anyway
			continue
		}
		if l.open.Add(1) > int64(l.b.opts.MaxClients+strangers) {
			l.makeRoom()
		}
		conn := l.wrap(c)
		forget := l.keep(conn)
		l.conns.Go(func() {
			defer l.open.Add(-1)
			defer forget()
			l.serve(conn, establish)
		})
	}
}

func (l *listener) wrap(raw net.Conn) *conn {
	if l.b.opts.TLS != nil {
		raw = tls.Server(raw, l.b.opts.TLS)
	}
	return newConn(raw, l.b)
}

func (l *listener) serve(c *conn, establish listeners.EstablishFn) {
	var flush sync.WaitGroup
	flush.Go(c.flush)
	defer flush.Wait()
	defer c.Close()
	// A packet that makes the library panic ends its connection, not the daemon.
	defer func() {
		if p := recover(); p != nil {
			l.b.log.Error("mqtt client ended by a packet that the broker cannot read", "remote", c.RemoteAddr(), "panic", p, "stack", string(debug.Stack()))
		}
	}()
	err := establish(l.ID(), c)
	if errors.Is(err, packets.ErrServerBusy) {
		l.b.refused.Add(1)
		l.b.log.Warn("mqtt client refused: as many are connected as may be; look who they are, or raise broker.max_clients",
			"remote", c.RemoteAddr(), "max_clients", l.b.opts.MaxClients)
	}
	if err != nil {
		l.b.log.Debug("mqtt connection ended", "remote", c.RemoteAddr(), "reason", err)
	}
}
