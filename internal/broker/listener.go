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
)

const (
	firstPacketWithin = 10 * time.Second // TLS handshake and CONNECT
	strangers         = 64               // connections beyond MaxClients that may be about to log in
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

// wait returns when the accept loop and all connections have ended.
func (l *listener) wait() {
	l.ready.Wait()
	l.conns.Wait()
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
		case l.open.Load() >= int64(l.b.opts.MaxClients+strangers):
			l.b.refused.Add(1)
			_ = c.Close() // refused anyway
			continue
		}
		l.open.Add(1)
		l.conns.Go(func() {
			defer l.open.Add(-1)
			l.serve(c, establish)
		})
	}
}

func (l *listener) serve(raw net.Conn, establish listeners.EstablishFn) {
	var c net.Conn = raw
	if l.b.opts.TLS != nil {
		c = tls.Server(raw, l.b.opts.TLS)
	}
	conn := newConn(c, l.b)
	var flush sync.WaitGroup
	flush.Go(conn.flush)
	defer flush.Wait()
	defer conn.Close()
	// A packet that makes the library panic ends its connection, not the daemon.
	defer func() {
		if p := recover(); p != nil {
			l.b.log.Error("mqtt client ended by a packet that the broker cannot read", "remote", raw.RemoteAddr(), "panic", p, "stack", string(debug.Stack()))
		}
	}()
	if err := establish(l.ID(), conn); err != nil {
		l.b.log.Debug("mqtt connection ended", "remote", raw.RemoteAddr(), "reason", err)
	}
}
