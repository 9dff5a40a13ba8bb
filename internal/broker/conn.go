package broker

import (
	"errors"
	"net"
	"sync"
	"time"
)

const (
	maxUnread     = 2 << 20 // bytes that one client may leave unread
	writePatience = 20 * time.Second
	lastWords     = time.Second // for what is still to be written when a connection is closed
)

var errSlow = errors.New("client does not read what it is sent")

// conn is a connection whose Write never waits: it queues, and flush writes. Acknowledgements are written by the
// store's goroutine, which must not wait for a client; many of them go out in one piece. A client that does not read
// is disconnected.
type conn struct {
	net.Conn
	b *Broker

	mu     sync.Mutex // guards the fields below
	unread []byte
	closed bool
	wake   chan struct{} // has room for one
	first  *time.Timer   // ends a connection that does not say who it is
}

func newConn(raw net.Conn, b *Broker) *conn {
	c := &conn{Conn: raw, b: b, wake: make(chan struct{}, 1)}
	c.first = time.AfterFunc(firstPacketWithin, func() { _ = c.Close() })
	return c
}

func (c *conn) Write(p []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return 0, net.ErrClosed
	}
	if len(c.unread)+len(p) > maxUnread {
		c.b.slow.Add(1)
		c.shut()
		return 0, errSlow
	}
	c.unread = append(c.unread, p...)
	c.signal()
	return len(p), nil
}

// SetDeadline limits reading only. The library sets it when the first packet is read and renews it with each further
// one. Writing has its own limit in flush.
func (c *conn) SetDeadline(t time.Time) error {
	c.first.Stop()
	return c.SetReadDeadline(t)
}

// Close lets flush write what is queued and close the connection; reading ends at once.
func (c *conn) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.shut()
	return nil
}

// shut needs mu.
func (c *conn) shut() {
	c.closed = true
	c.first.Stop()
	_ = c.Conn.SetReadDeadline(time.Unix(1, 0)) // fails only on a connection that has ended already
	c.signal()
}

func (c *conn) signal() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// flush writes until the connection is closed or broken.
func (c *conn) flush() {
	defer func() { _ = c.Conn.Close() }() // a second close or a broken connection: nothing is left to say
	var out []byte
	for range c.wake {
		for {
			c.mu.Lock()
			out, c.unread = c.unread, out[:0]
			closed := c.closed
			c.mu.Unlock()
			if len(out) == 0 {
				if closed {
					return
				}
				break
			}
			patience := writePatience
			if closed {
				patience = lastWords
			}
			// A timer, not a deadline: the daemon's clock may run fast or be stepped.
			timer := time.AfterFunc(patience, func() { _ = c.Conn.Close() })
			_, err := c.Conn.Write(out)
			timer.Stop()
			if err != nil {
				_ = c.Close()
				return
			}
		}
	}
}
