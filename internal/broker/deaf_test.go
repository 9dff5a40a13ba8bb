package broker

import (
	"bytes"
	"io"
	"log/slog"
	"net"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

func heap() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

func TestBroker_ASlowStoreSlowsClientsAndLosesNothing(t *testing.T) {
	c := newCommitter()
	c.hold = true
	b := start(t, options(c))
	conn := dial(t, b)
	login(t, conn, "eager", true)
	const n = 400
	payload := strings.Repeat("1", 60_000)
	go func() {
		for i := range n { // 24 MB, thrice what may be under way
			if publishPacket("stallkeeper/reading/core", 1, uint16(i+1), payload).Write(conn) != nil {
				return
			}
		}
	}()
	c.await(t, maxUnderWay/(60_000+300))
	time.Sleep(100 * time.Millisecond)
	b.hook.mu.Lock()
	underWay := b.hook.underWay
	b.hook.mu.Unlock()
	if underWay > maxUnderWay {
		t.Errorf("%d bytes are under way, want at most %d", underWay, maxUnderWay)
	}
	c.set(func() { c.hold = false })
	c.commit(nil)
	acked := map[uint16]bool{}
	for len(acked) < n {
		ack, ok := receive(t, conn).(*packets.PubackPacket)
		if !ok || acked[ack.MessageID] {
			t.Fatalf("after %d acknowledgements came %v", len(acked), ack)
		}
		acked[ack.MessageID] = true
	}
	if got := len(c.all()); got != n {
		t.Errorf("%d messages are stored, want %d", got, n)
	}
}

func TestBroker_DisconnectsWhoDoesNotRead(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	deaf := dial(t, b)
	login(t, deaf, "deaf", true)
	sub := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	sub.MessageID, sub.Topics, sub.Qoss = 1, []string{"#"}, []byte{0}
	send(t, deaf, sub)
	receive(t, deaf)
	cl := connect(t, b, "talker")
	payload := bytes.Repeat([]byte("x"), 60_000)
	for range 400 { // 24 MB: more than the operating system's buffers and ours
		if token := cl.Publish("noise", 1, false, payload); !token.WaitTimeout(patience) || token.Error() != nil {
			t.Fatalf("a deaf subscriber holds up others: %v", token.Error())
		}
	}
	for end := time.Now().Add(patience); time.Now().Before(end); {
		if b.Stats().SlowConsumers == 1 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if got := b.Stats().SlowConsumers; got != 1 {
		t.Errorf("%d slow consumers were disconnected, want 1", got)
	}
	stillServes(t, b, c)
}

// Many that do not read share a bounded memory; who reads is written to beside them, and what a connection held is free when it ends.
func TestConn_TheDeafShareABoundedMemory(t *testing.T) {
	b := &Broker{log: slog.New(slog.DiscardHandler)}
	var wg sync.WaitGroup
	open := func() (*conn, net.Conn) {
		far, near := net.Pipe() // it holds nothing by itself
		c := newConn(near, b)
		wg.Go(c.flush)
		t.Cleanup(func() { _, _ = c.Close(), far.Close() })
		return c, far
	}
	packet := make([]byte, 30_000)
	var ends []io.Closer
	for range 60 {
		c, far := open()
		for n := 0; n < maxUnread; n += len(packet) {
			if _, err := c.Write(packet); err != nil {
				break
			}
		}
		ends = append(ends, far)
		if n := b.unread.Load(); n > maxUnreadAll+60*unreadShare {
			t.Fatalf("%d bytes wait for those who do not read", n)
		}
	}
	if n := b.slow.Load(); n < 40 {
		t.Errorf("%d of 60 were sent away, want most: 16 MiB are 8 times 2 MiB", n)
	}
	c, far := open()
	for range 10 {
		if _, err := c.Write(packet); err != nil {
			t.Fatal("who reads is sent away: ", err)
		}
		if _, err := io.ReadFull(far, packet); err != nil {
			t.Fatal(err)
		}
	}
	for _, end := range append(ends, c, far) {
		if err := end.Close(); err != nil {
			t.Error(err)
		}
	}
	wg.Wait()
	if n := b.unread.Load(); n != 0 {
		t.Errorf("%d bytes are still counted when all have ended", n)
	}
}

// A packet over the limit ends its connection, is counted, and harms nobody else.
