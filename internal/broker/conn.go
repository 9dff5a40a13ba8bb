package broker

import (
	"errors"
	"net"
	"sync"
	"time"
)

const (
	maxUnread     = 2 << 20  // bytes that one client may leave unread
	maxUnreadAll  = 16 << 20 // bytes that all may; beyond it each still has its share
	unreadShare   = maxPacket + 8<<10
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

	mu      sync.Mutex // guards the fields below
	unread  []byte
	writing int // bytes that flush has taken and not written yet
	closed  bool
	wake    chan struct{} // has room for one
	first   *time.Timer   // ends a connection that does not say who it is
	known   bool          // it has logged in
}

func newConn(raw net.Conn, b *Broker) *conn {
	c := &conn{Conn: raw, b: b, wake: make(chan struct{}, 1)}
	c.first = time.AfterFunc(firstPacketWithin, func() { _ = c.Close() })
	return c
}

func (c *conn) Write(p []byte) (int, error) {
	err := c.queue(p)
	if errors.Is(err, errSlow) {
		c.b.slow.Add(1)
		c.b.log.Warn("mqtt client disconnected: it does not read what it is sent; subscribe to less", "remote", c.RemoteAddr())
	}
	if err != nil {
		return 0, err
	}
	return len(p), nil
}

func (c *conn) queue(p []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return net.ErrClosed
	}
	mine := len(c.unread) + c.writing + len(p)
	if mine > maxUnread || mine > unreadShare && c.b.unread.Load()+int64(len(p)) > maxUnreadAll {
		c.shut()
		return errSlow
	}
	c.unread = append(c.unread, p...)
	c.b.unread.Add(int64(len(p)))
	c.signal()
	return nil
}

// SetDeadline limits reading only. The library sets it when the first packet is read and renews it with each further
// one. Writing has its own limit in flush.
func (c *conn) SetDeadline(t time.Time) error {
	c.first.Stop()
	return c.SetReadDeadline(t)
}

// welcome notes that the connection has logged in.
func (c *conn) welcome() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.known = true
}

// stranger reports whether the connection has not logged in and is not being closed.
func (c *conn) stranger() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return !c.known && !c.closed
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
	defer c.drop()
	var spare []byte
	for range c.wake {
		for {
			out, closed := c.take(spare)
			if spare = out[:0]; cap(spare) > unreadShare {
				spare = nil // what a burst took is given back
			}
			if len(out) == 0 {
				if closed {
					return
				}
				break
			}
			if err := c.push(out, closed); err != nil {
				_ = c.Close()
				return
			}
			c.b.unread.Add(-int64(len(out)))
		}
	}
}

// take gives what is to be written, and spare for what comes next.
func (c *conn) take(spare []byte) (out []byte, closed bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	out, c.unread = c.unread, spare
	c.writing = len(out)
	return out, c.closed
}

// push writes. The limit is a timer, not a deadline: the daemon's clock may run fast or be stepped.
func (c *conn) push(out []byte, closed bool) error {
	patience := writePatience
	if closed {
		patience = lastWords
	}
	timer := time.AfterFunc(patience, func() { _ = c.Conn.Close() })
	defer timer.Stop()
	_, err := c.Conn.Write(out)
	return err
}

// drop gives up what was not written.
func (c *conn) drop() {
	_ = c.Conn.Close() // a second close or a broken connection: nothing is left to say
	c.mu.Lock()
	defer c.mu.Unlock()
	c.closed = true
	c.b.unread.Add(-int64(len(c.unread) + c.writing))
	c.unread, c.writing = nil, 0
}
