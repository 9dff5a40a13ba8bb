package broker

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// lockedBuffer takes a log from several goroutines.
type lockedBuffer struct {
	mu   sync.Mutex // guards text
	text bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// dial opens a bare connection.
func dial(t *testing.T, b *Broker) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", b.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() }) // may be closed already
	return c
}

// login sends CONNECT on a bare connection and reads CONNACK.
func login(t *testing.T, c net.Conn, id string, clean bool) {
	t.Helper()
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.ClientIdentifier, p.CleanSession, p.Keepalive = "MQTT", 4, id, clean, 60
	if err := p.Write(c); err != nil {
		t.Fatal(err)
	}
	ack, ok := receive(t, c).(*packets.ConnackPacket)
	if !ok || ack.ReturnCode != 0 {
		t.Fatalf("CONNECT is answered with %v", ack)
	}
}

func receive(t *testing.T, c net.Conn) packets.ControlPacket {
	t.Helper()
	if err := c.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	p, err := packets.ReadPacket(c)
	if err != nil {
		t.Fatal("read packet: ", err)
	}
	return p
}

func publishPacket(topic string, qos byte, id uint16, payload string) *packets.PublishPacket {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Qos, p.MessageID, p.Payload = topic, qos, id, []byte(payload)
	return p
}

func send(t *testing.T, c net.Conn, p packets.ControlPacket) {
	t.Helper()
	if err := p.Write(c); err != nil {
		t.Fatal("send packet: ", err)
	}
}

// hungUp reports whether the broker ends the connection within the limit.
func hungUp(c net.Conn, limit time.Duration) bool {
	if c.SetReadDeadline(time.Now().Add(limit)) != nil {
		return true
	}
	_, err := io.Copy(io.Discard, c)
	ne, ok := err.(net.Error)
	return !ok || !ne.Timeout()
}

// stillServes checks that an honest client is served.
func stillServes(t *testing.T, b *Broker, c *committer) {
	t.Helper()
	cl := connect(t, b, "honest")
	if token := cl.Publish("stallkeeper/reading/core", 1, false, "60"); !token.WaitTimeout(patience) || token.Error() != nil {
		t.Errorf("an honest client is not served: %v", token.Error())
	}
	cl.Disconnect(0)
	c.await(t, 1)
}

func TestBroker_RefusesOversizePackets(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	bad := dial(t, b)
	login(t, bad, "big", true)
	// The write may fail half way, when the broker has hung up after the header.
	_ = publishPacket("stallkeeper/reading/core", 1, 1, strings.Repeat("1", maxPacket)).Write(bad)
	if !hungUp(bad, patience) {
		t.Error("a packet above the limit does not end the connection")
	}
	// Before the login as well, and by its header alone: 256 MB are announced.
	early := dial(t, b)
	if _, err := early.Write([]byte{0x10, 0xff, 0xff, 0xff, 0x7f}); err != nil {
		t.Fatal(err)
	}
	if !hungUp(early, patience) {
		t.Error("a header that announces 256 MB does not end the connection")
	}
	stillServes(t, b, c)
}

func TestBroker_SurvivesGarbage(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	var wg sync.WaitGroup
	for i := range 200 {
		junk := make([]byte, 1+i*7)
		if _, err := rand.Read(junk); err != nil {
			t.Fatal(err)
		}
		conn := dial(t, b)
		if i%2 == 0 {
			login(t, conn, fmt.Sprint("junk", i), true)
		}
		wg.Go(func() {
			_, _ = conn.Write(junk) // the broker may hang up meanwhile
			_ = conn.Close()
		})
		if i%20 == 19 {
			wg.Wait()
		}
	}
	stillServes(t, b, c)
}

func TestBroker_APanicEndsItsConnectionOnly(t *testing.T) {
	c := newCommitter()
	opts := options(c)
	opts.IsReading = func(topic string) bool {
		if topic == "trap" {
			panic("as if a packet had hit a mistake in the library")
		}
		return strings.HasPrefix(topic, readings)
	}
	b := start(t, opts)
	conn := dial(t, b)
	login(t, conn, "trapped", true)
	send(t, conn, publishPacket("trap", 1, 1, "x"))
	if !hungUp(conn, patience) {
		t.Error("the connection stays open")
	}
	stillServes(t, b, c)
}

func TestBroker_EndsConnectionsThatDoNotSayWhoTheyAre(t *testing.T) {
	if testing.Short() {
		t.Skip("takes ten seconds")
	}
	b := start(t, options(newCommitter()))
	silent := dial(t, b)
	slow := dial(t, b)
	if _, err := slow.Write([]byte{0x10, 20, 0}); err != nil {
		t.Fatal(err)
	}
	if !hungUp(silent, firstPacketWithin+patience) || !hungUp(slow, patience) {
		t.Error("a connection without CONNECT stays open")
	}
}

// Strangers that hold every place: an honest client that says at once who it is comes in all the same.
func TestBroker_StrangersDoNotKeepOthersOut(t *testing.T) {
	c := newCommitter()
	opts := options(c)
	opts.MaxClients = 20
	var said lockedBuffer
	opts.Log = slog.New(slog.NewTextHandler(&said, nil))
	b := start(t, opts)
	member := dial(t, b)
	login(t, member, "member", true)
	for range 3 * (opts.MaxClients + strangers + leaving) {
		dial(t, b)
		time.Sleep(100 * time.Microsecond)
	}
	for i := range 5 {
		login(t, dial(t, b), fmt.Sprint("newcomer", i), true)
	}
	send(t, member, publishPacket(readings+"pit", 1, 1, "107"))
	if _, ok := receive(t, member).(*packets.PubackPacket); !ok {
		t.Error("who was in before is not served")
	}
	if n := b.listener.open.Load(); n > int64(opts.MaxClients+strangers+leaving) {
		t.Errorf("%d connections are open", n)
	}
	if text := said.String(); !strings.Contains(text, "too many connections that do not log in") {
		t.Errorf("the log says nothing of the strangers: %q", text)
	}
}

func TestBroker_SaysThatItIsFull(t *testing.T) {
	opts := options(newCommitter())
	opts.MaxClients = 2
	var said lockedBuffer
	opts.Log = slog.New(slog.NewTextHandler(&said, nil))
	b := start(t, opts)
	login(t, dial(t, b), "one", true)
	login(t, dial(t, b), "two", true)
	if tryLogin(dial(t, b), "three") {
		t.Fatal("a third came in")
	}
	for end := time.Now().Add(patience); !strings.Contains(said.String(), "raise broker.max_clients"); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("the log does not say that the broker is full: %q", said.String())
		}
	}
	if n := b.Stats().Refused; n != 1 {
		t.Errorf("Refused = %d, want 1", n)
	}
}

func TestBroker_BoundsConnectionsAndSessions(t *testing.T) {
	c := newCommitter()
	opts := options(c)
	opts.MaxClients = 20
	b := start(t, opts)
	var open []net.Conn
	for range 1000 { // strangers that stay silent
		conn, err := net.Dial("tcp", b.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, conn)
	}
	if n := b.listener.open.Load(); n > int64(opts.MaxClients+strangers+leaving) {
		t.Errorf("%d connections are open, want at most %d", n, opts.MaxClients+strangers+leaving)
	}
	for _, conn := range open {
		_ = conn.Close() // some are refused already
	}
	for i := range 2000 { // sessions that are to be kept
		for {
			conn, err := net.Dial("tcp", b.Addr().String())
			if err != nil {
				t.Fatal(err)
			}
			if ok := tryLogin(conn, fmt.Sprint("session", i)); ok {
				_ = conn.Close() // without DISCONNECT, as a hostile client may
				break
			}
			_ = conn.Close() // refused while the former ones are still being taken down
			time.Sleep(time.Millisecond)
		}
	}
	b.hook.mu.Lock()
	sessions := len(b.hook.sessions)
	b.hook.mu.Unlock()
	if kept := b.server.Clients.Len(); sessions > 2*opts.MaxClients+1 || kept > 3*opts.MaxClients {
		t.Errorf("%d sessions and %d clients are remembered after 2000 logins, want some %d", sessions, kept, 2*opts.MaxClients)
	}
	stillServes(t, b, c)
}

func tryLogin(c net.Conn, id string) bool {
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.ClientIdentifier, p.Keepalive = "MQTT", 4, id, 60
	if p.Write(c) != nil || c.SetReadDeadline(time.Now().Add(5*time.Second)) != nil {
		return false
	}
	ack, err := packets.ReadPacket(c)
	if err != nil {
		return false
	}
	connack, ok := ack.(*packets.ConnackPacket)
	return ok && connack.ReturnCode == 0
}

func TestBroker_RetainsNothingForClients(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	conn := dial(t, b)
	login(t, conn, "flood", true)
	before := heap()
	for i := range 5000 {
		p := publishPacket(fmt.Sprintf("flood/%d", i), 0, 0, strings.Repeat("x", 4000))
		p.Retain = true
		send(t, conn, p)
	}
	p := publishPacket("stallkeeper/reading/core", 1, 1, "60")
	p.Retain = true
	send(t, conn, p)
	receive(t, conn) // its PUBACK: all before it is through
	for topic := range b.server.Topics.Retained.GetAll() {
		if !strings.HasPrefix(topic, "$SYS") {
			t.Errorf("%s is retained", topic)
		}
	}
	if grown := heap() - before; grown > 8<<20 {
		t.Errorf("memory grew by %d MB", grown>>20)
	}
}

func TestBroker_RefusesAPacketOver64KiB(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	conn := dial(t, b)
	login(t, conn, "wordy", true)
	_ = publishPacket("stallkeeper/reading/core", 1, 1, strings.Repeat("6", maxPacket)).Write(conn) // the broker may hang up meanwhile
	for end := time.Now().Add(patience); time.Now().Before(end); {
		if b.Stats().Oversized == 1 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if got := b.Stats().Oversized; got != 1 {
		t.Errorf("%d clients disconnected for an oversized packet, want 1", got)
	}
	stillServes(t, b, c)
}

func TestBroker_BoundsSubscriptions(t *testing.T) {
	b := start(t, options(newCommitter()))
	cl := connect(t, b, "greedy")
	filters := map[string]byte{}
	for i := range 150 {
		filters[fmt.Sprintf("stallkeeper/state/%d/+", i)] = 1
	}
	token := cl.SubscribeMultiple(filters, nil).(*paho.SubscribeToken)
	token.Wait()
	granted := 0
	for _, qos := range token.Result() {
		if qos == 0 {
			granted++
		}
	}
	if granted != maxSubscriptions {
		t.Errorf("%d of 150 subscriptions are granted at QoS 0, want %d", granted, maxSubscriptions)
	}
	deep := cl.Subscribe(strings.Repeat("a/", 20)+"b", 0, nil).(*paho.SubscribeToken)
	deep.Wait()
	for filter, qos := range deep.Result() {
		if qos != 0x80 {
			t.Errorf("a filter of %d levels is granted with %#x", strings.Count(filter, "/")+1, qos)
		}
	}
}

func TestQuiet_KeepsPacketsAndFloodsOutOfTheLog(t *testing.T) {
	var out bytes.Buffer
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	log := slog.New(newQuiet(slog.NewTextHandler(&out, nil), func() time.Time { return now })).With("listener", "mqtt")
	log.Info("chatter")
	for range 1000 {
		log.Error("publish packet error", "packet", "secret payload", "client", "core")
	}
	now = now.Add(2 * time.Minute)
	log.Warn("later")
	text := out.String()
	if n := strings.Count(text, "\n"); n != linesPerMinute+1 {
		t.Errorf("%d lines are written, want %d", n, linesPerMinute+1)
	}
	if strings.Contains(text, "secret") || strings.Contains(text, "chatter") || !strings.Contains(text, "lines_omitted=990") {
		t.Errorf("log is:\n%s", text)
	}
}
