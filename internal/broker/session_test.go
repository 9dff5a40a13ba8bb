package broker

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"os/exec"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/testrig"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

func pass(c net.Conn) paho.OpenConnectionFunc {
	return func(*url.URL, paho.ClientOptions) (net.Conn, error) { return c, nil }
}

// again marks a packet as sent before, as clients do after a reconnect (MQTT 3.1.1 section 4.4).
func again(p *packets.PublishPacket) *packets.PublishPacket {
	p.Dup = true
	return p
}

func TestBroker_QoS2_OnceAcrossAReconnect(t *testing.T) {
	c := newCommitter()
	c.hold = true
	b := start(t, options(c))
	first := dial(t, b)
	login(t, first, "probe", false)
	send(t, first, publishPacket("stallkeeper/reading/core", 2, 7, "60"))
	c.await(t, 1)
	second := dial(t, b) // the first connection was lost before the commit
	login(t, second, "probe", false)
	send(t, second, again(publishPacket("stallkeeper/reading/core", 2, 7, "60")))
	time.Sleep(50 * time.Millisecond)
	c.commit(nil)
	if rec, ok := receive(t, second).(*packets.PubrecPacket); !ok || rec.MessageID != 7 {
		t.Fatalf("got %v, want PUBREC 7", rec)
	}
	send(t, second, again(publishPacket("stallkeeper/reading/core", 2, 7, "60"))) // PUBREC got lost, says the client
	if rec, ok := receive(t, second).(*packets.PubrecPacket); !ok || rec.MessageID != 7 {
		t.Fatalf("got %v, want PUBREC 7 once more", rec)
	}
	rel := packets.NewControlPacket(packets.Pubrel).(*packets.PubrelPacket)
	rel.MessageID = 7
	send(t, second, rel)
	if comp, ok := receive(t, second).(*packets.PubcompPacket); !ok || comp.MessageID != 7 {
		t.Fatalf("got %v, want PUBCOMP 7", comp)
	}
	if got := fmt.Sprint(c.all()); got != "[core=60]" {
		t.Errorf("stored %s, want it once", got)
	}
	send(t, second, publishPacket("stallkeeper/reading/core", 2, 7, "61")) // the id is free for another message
	c.await(t, 1)
	c.commit(nil)
	receive(t, second)
	if got := fmt.Sprint(c.all()); got != "[core=60 core=61]" {
		t.Errorf("stored %s, want both", got)
	}
}

func TestBroker_QoS1_AcknowledgesOnlyOnTheConnectionOfTheMessage(t *testing.T) {
	c := newCommitter()
	c.hold = true
	b := start(t, options(c))
	first := dial(t, b)
	login(t, first, "probe", false)
	send(t, first, publishPacket("stallkeeper/reading/core", 1, 7, "60"))
	c.await(t, 1)
	second := dial(t, b)
	login(t, second, "probe", false)
	c.commit(nil)                                                          // of the message on the first connection
	send(t, second, publishPacket("stallkeeper/reading/core", 1, 7, "61")) // another message under the same id
	c.await(t, 1)
	if err := second.SetReadDeadline(time.Now().Add(100 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	if p, err := packets.ReadPacket(second); err == nil {
		t.Fatalf("got %v before the commit", p)
	}
	c.commit(nil)
	if ack, ok := receive(t, second).(*packets.PubackPacket); !ok || ack.MessageID != 7 {
		t.Errorf("got %v, want PUBACK 7", ack)
	}
}

func TestBroker_QoS2_BoundsOpenHandshakes(t *testing.T) {
	c := newCommitter()
	b := start(t, options(c))
	conn := dial(t, b)
	login(t, conn, "endless", true)
	go func() {
		for id := range uint16(maxInflight + 10) {
			if publishPacket("stallkeeper/reading/core", 2, id+1, "60").Write(conn) != nil {
				return
			}
		}
	}()
	if !hungUp(conn, 10*time.Second) {
		t.Error("a client that never sends PUBREL stays connected")
	}
	if got := len(c.all()); got != maxInflight {
		t.Errorf("%d messages were taken in, want %d", got, maxInflight)
	}
}

func TestBroker_MQTT5(t *testing.T) {
	path := testrig.Program(t, "mosquitto_pub")
	c := newCommitter()
	b := start(t, options(c))
	_, port, err := net.SplitHostPort(b.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	for qos := range 3 {
		cmd := exec.CommandContext(t.Context(), path, "-V", "mqttv5", "-p", port, "-t", "stallkeeper/reading/core", "-q", fmt.Sprint(qos), "-l")
		cmd.Stdin = bytes.NewReader(bytes.Repeat([]byte("60\n"), 100))
		if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("mosquitto_pub -V mqttv5 -q %d: %v: %s", qos, err, out)
		}
	}
	c.await(t, 300)
	if got := b.Stats(); got.Received != 300 || got.Acknowledged != 200 {
		t.Errorf("Stats() = %+v, want 300 received, 200 acknowledged", got)
	}
}

func TestBroker_AcknowledgesWhatIsCommittedWhileItStops(t *testing.T) {
	c := newCommitter()
	c.hold = true
	b, err := New(options(c))
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	token := connect(t, b, "probe").Publish("stallkeeper/reading/core", 1, false, "60")
	c.await(t, 1)
	stop()
	time.Sleep(100 * time.Millisecond)
	c.commit(nil)
	if !token.WaitTimeout(patience) || token.Error() != nil {
		t.Errorf("a reading committed while the broker stops is not acknowledged: %v", token.Error())
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// Two devices with one client id push each other out; a device that comes back now and then is none of them.
func TestBroker_SaysThatTwoUseOneClientID(t *testing.T) {
	opts := options(newCommitter())
	var said lockedBuffer
	opts.Log = slog.New(slog.NewTextHandler(&said, nil))
	b := start(t, opts)
	login(t, dial(t, b), "board", true)
	for range 2 {
		login(t, dial(t, b), "board", true)
	}
	if text := said.String(); strings.Contains(text, "push each other out") {
		t.Errorf("it is said after two: %s", text)
	}
	login(t, dial(t, b), "board", false)
	if text := said.String(); strings.Count(text, "push each other out") != 1 || !strings.Contains(text, "client=board") {
		t.Errorf("the log says %q", text)
	}
}
