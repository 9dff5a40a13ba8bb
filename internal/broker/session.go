package broker

import (
	"errors"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// session is what the hook remembers of a client id, across its connections as long as the client keeps its session.
type session struct {
	mu sync.Mutex // guards the fields below
	cl *mqtt.Client
	// handshakes are the QoS 2 messages taken in and not yet released: false before the commit, true when PUBREC is out.
	handshakes map[uint16]bool

	twins takeovers // guarded by hook.mu
}

// takeovers counts how often a connection pushed out a living one of the same client id. A device whose old connection is not known to be
// dead does so now and then; two devices with one id do it all the time.
type takeovers struct {
	n     int
	since time.Time
}

// Choices of this project.
const (
	twinsAfter  = 3 // takeovers within twinsWithin
	twinsWithin = 10 * time.Minute
)

// count notes one and reports whether it is time to say so.
func (t *takeovers) count(now time.Time) bool {
	if age := now.Sub(t.since); age < 0 || age > twinsWithin {
		t.n, t.since = 0, now
	}
	t.n++
	return t.n == twinsAfter
}

// OnSessionEstablish runs after the login and before CONNACK.
func (h *hook) OnSessionEstablish(cl *mqtt.Client, pk packets.Packet) {
	if c, ok := cl.Net.Conn.(*conn); ok {
		c.welcome()
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	old := h.sessions[cl.ID]
	s := old
	if s == nil || pk.Connect.Clean {
		s = &session{handshakes: map[uint16]bool{}}
		h.sessions[cl.ID] = s
	}
	if old != nil {
		s.twins = old.twins
		if old.client().StopTime() == 0 && s.twins.count(h.b.opts.Now()) {
			h.b.log.Warn("mqtt clients push each other out: two devices use the same client id; give each its own", "client", cl.ID,
				"remote", cl.Net.Remote, "other", old.client().Net.Remote)
		}
	}
	s.mu.Lock()
	s.cl = cl
	s.mu.Unlock()
	if len(h.sessions) > 2*h.b.opts.MaxClients {
		h.dropOldest()
	}
}

// dropOldest ends the session that has been without a connection for longest. It needs h.mu.
func (h *hook) dropOldest() {
	var oldest *mqtt.Client
	for _, cl := range h.b.server.Clients.GetAll() {
		if t := cl.StopTime(); t != 0 && (oldest == nil || t < oldest.StopTime()) {
			oldest = cl
		}
	}
	if oldest == nil {
		return
	}
	delete(h.sessions, oldest.ID)
	h.b.server.UnsubscribeClient(oldest)
	oldest.ClearInflights()
	h.b.server.Clients.Delete(oldest.ID)
}

// OnDisconnect forgets sessions that end with their connection, and says so when a packet was too large to be read.
func (h *hook) OnDisconnect(cl *mqtt.Client, err error, expire bool) {
	if errors.Is(err, packets.ErrPacketTooLarge) {
		h.b.oversized.Add(1)
		h.b.log.Warn("mqtt client disconnected: its packet is too large; publish fewer readings in one message",
			"client", cl.ID, "remote", cl.Net.Remote, "limit_bytes", maxPacket)
	}
	if expire {
		h.forget(cl)
	}
}

// OnClientExpired runs on the library's goroutine, which itself would leave the subscriptions behind.
func (h *hook) OnClientExpired(cl *mqtt.Client) {
	h.forget(cl)
	h.b.server.UnsubscribeClient(cl)
}

// forget leaves the session alone when another connection has taken it over.
func (h *hook) forget(cl *mqtt.Client) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if s := h.sessions[cl.ID]; s != nil && s.client() == cl {
		delete(h.sessions, cl.ID)
	}
}

// session finds the session of a connected client. One whose session was just taken over gets a passing one.
func (h *hook) session(cl *mqtt.Client) *session {
	h.mu.Lock()
	defer h.mu.Unlock()
	if s := h.sessions[cl.ID]; s != nil && s.client() == cl {
		return s
	}
	return &session{cl: cl, handshakes: map[uint16]bool{}}
}

func (s *session) client() *mqtt.Client {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.cl
}

// begin notes a QoS 2 message and reports whether it is new. A repeated one is answered again, or will be at its commit.
func (s *session) begin(id uint16) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	done, known := s.handshakes[id]
	switch {
	case known && done:
		write(s.cl, packets.Pubrec, id)
	case !known && len(s.handshakes) >= maxInflight:
		s.cl.Stop(errTooManyHandshakes)
	case !known:
		s.handshakes[id] = false
		return true
	}
	return false
}

// end reports whether PUBREL belongs to a handshake of this session, and ends it.
func (s *session) end(id uint16) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	done := s.handshakes[id]
	if done {
		delete(s.handshakes, id)
	}
	return done
}

// cancel forgets a message that was not committed: it is new when it comes again.
func (s *session) cancel(pk packets.Packet) {
	if pk.FixedHeader.Qos != 2 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.handshakes, pk.PacketID)
}

// acknowledge answers a committed message. PUBACK goes to the connection that the message came on, and nowhere else: on
// a later one its packet id may stand for another message. PUBREC goes to the present connection: begin has
// kept repetitions away, so the id can stand for nothing else.
func (s *session) acknowledge(cl *mqtt.Client, pk packets.Packet) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if pk.FixedHeader.Qos == 1 {
		write(cl, packets.Puback, pk.PacketID)
		return
	}
	s.handshakes[pk.PacketID] = true
	write(s.cl, packets.Pubrec, pk.PacketID)
}

// fail lets the client of a message that was not committed send it again on a new connection.
func (s *session) fail(cl *mqtt.Client, pk packets.Packet, err error) {
	s.cancel(pk)
	cl.Stop(err)
	if pk.FixedHeader.Qos == 2 {
		s.client().Stop(err)
	}
}

// write ends a connection that cannot be written to: the client sends again on the next.
func write(cl *mqtt.Client, kind byte, id uint16) {
	ack := packets.Packet{FixedHeader: packets.FixedHeader{Type: kind}, PacketID: id}
	if err := cl.WritePacket(ack); err != nil {
		cl.Stop(err)
	}
}
