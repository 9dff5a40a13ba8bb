package durability

import (
	"bufio"
	"database/sql"
	"fmt"
	"net"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"stallkeeper/internal/testrig"

	"github.com/eclipse/paho.mqtt.golang/packets"

	_ "github.com/mattn/go-sqlite3" // the driver "sqlite3"
)

// burst is how many readings each part of the benchmark moves.
const burst = 20_000

// BenchmarkDurable measures, in one run on one machine, how many readings a second become durable: through the embedded
// broker (until the publisher holds all PUBACKs), through mosquitto (until all are committed), beside mosquitto_sub -q 1
// throwing the same messages away, and SQLite taking the same rows in transactions of 500 and of 1000 from one loop.
// Run it with -benchtime 1x.
func BenchmarkDurable(b *testing.B) {
	for b.Loop() {
		embedded := measure(b, benchEmbedded)
		mosquitto := measure(b, benchMosquitto)
		away := measure(b, benchMosquittoSub)
		raw500 := measure(b, func(b *testing.B) time.Duration { return benchSQLite(b, 500) })
		raw1000 := measure(b, func(b *testing.B) time.Duration { return benchSQLite(b, 1000) })
		b.ReportMetric(embedded, "embedded/s")
		b.ReportMetric(mosquitto, "mosquitto/s")
		b.ReportMetric(away, "mosquitto_sub/s")
		b.ReportMetric(raw500, "sqlite500/s")
		b.ReportMetric(raw1000, "sqlite1000/s")
		b.ReportMetric(embedded/away, "embedded:mosquitto_sub")
		b.ReportMetric(mosquitto/away, "mosquitto:mosquitto_sub")
		b.ReportMetric(embedded/raw500, "embedded:sqlite500")
		b.ReportMetric(mosquitto/raw500, "mosquitto:sqlite500")
		b.ReportMetric(0, "ns/op")
	}
}

// measure gives readings per second. The part tells how long it took without its preparations.
func measure(b *testing.B, part func(b *testing.B) time.Duration) float64 {
	b.Helper()
	return burst / part(b).Seconds()
}

func benchEmbedded(b *testing.B) time.Duration {
	addr := testrig.FreeAddr(b)
	dir := b.TempDir()
	_, stop := startIntake(b, settings{dir: dir, listen: addr})
	testrig.AwaitPort(b, addr)
	begin := time.Now()
	flood(b, addr)
	took := time.Since(begin)
	if got := count(b, dir, allReadings); got != burst {
		b.Fatalf("%d readings are stored, want %d", got, burst)
	}
	stop()
	return took
}

func benchMosquitto(b *testing.B) time.Duration {
	addr := testrig.StartMosquitto(b).Addr
	dir := b.TempDir()
	k, stop := startIntake(b, settings{dir: dir, url: "mqtt://" + addr})
	for !k.client.Status().Connected {
		time.Sleep(10 * time.Millisecond)
	}
	begin := time.Now()
	flood(b, addr)
	for k.in.Stats().Stored < burst {
		time.Sleep(time.Millisecond)
	}
	took := time.Since(begin)
	stop()
	return took
}

func benchMosquittoSub(b *testing.B) time.Duration {
	addr := testrig.StartMosquitto(b).Addr
	_, port, err := net.SplitHostPort(addr)
	if err != nil {
		b.Fatal(err)
	}
	// With no writer set, the output goes to the null device.
	cmd := exec.Command(testrig.Program(b, "mosquitto_sub"), "-p", port, "-t", "stallkeeper/reading/#", "-q", "1", "-C", fmt.Sprint(burst+1))
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	time.Sleep(500 * time.Millisecond) // for its subscription
	pub(b, addr, "stallkeeper/reading/x", 1, []string{"20"})
	begin := time.Now()
	flood(b, addr)
	if err := cmd.Wait(); err != nil {
		b.Fatal(err)
	}
	return time.Since(begin)
}

// benchSQLite inserts the same rows as the store does, and nothing else: one prepared statement, synchronous=FULL, a
// transaction for each batch.
func benchSQLite(b *testing.B, batch int) time.Duration {
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(b.TempDir(), "raw.db")+"?_journal_mode=WAL&_synchronous=FULL&_txlock=immediate")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec(`create table readings (probe integer, time integer, celsius real, quality integer, primary key (probe, time)) without rowid, strict`); err != nil {
		b.Fatal(err)
	}
	begin := time.Now()
	for from := 0; from < burst; from += batch {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		insert, err := tx.Prepare("insert into readings values (?, ?, ?, 0) on conflict do nothing")
		if err != nil {
			b.Fatal(err)
		}
		for n := from; n < from+batch; n++ {
			at, celsius := reading(n)
			if _, err := insert.Exec(n%publishers, at.UnixMicro(), celsius); err != nil {
				b.Fatal(err)
			}
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(begin)
}

// flood publishes the burst at QoS 1 from eight connections with up to 500 messages on their way each, and returns when
// all are acknowledged.
func flood(b *testing.B, addr string) {
	b.Helper()
	errs := make(chan error, publishers)
	var wg sync.WaitGroup
	for i := range publishers {
		wg.Go(func() { errs <- floodOne(addr, fmt.Sprintf("p%d", i), burst/publishers) })
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		if err != nil {
			b.Fatal(err)
		}
	}
}

// floodOne speaks MQTT by hand, so that the load costs little.
func floodOne(addr, probe string, n int) error {
	c, err := net.Dial("tcp", addr)
	if err != nil {
		return err
	}
	defer c.Close()
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.CleanSession, hello.Keepalive = "MQTT", 4, probe, true, 60
	if err := hello.Write(c); err != nil {
		return err
	}
	in := bufio.NewReader(c)
	if _, err := packets.ReadPacket(in); err != nil {
		return err
	}
	free := make(chan struct{}, window)
	failed := make(chan error, 1)
	go func() { failed <- sendAll(c, probe, n, free) }()
	for range n {
		if _, err := packets.ReadPacket(in); err != nil {
			return fmt.Errorf("read acknowledgement: %w", err)
		}
		<-free
	}
	return <-failed
}

func sendAll(c net.Conn, probe string, n int, free chan<- struct{}) error {
	out := bufio.NewWriterSize(c, 4096)
	for i := range n {
		select {
		case free <- struct{}{}:
		default: // the window is full: let the broker see what there is, and wait
			if err := out.Flush(); err != nil {
				return err
			}
			free <- struct{}{}
		}
		at, celsius := reading(i)
		p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		p.TopicName, p.Qos, p.MessageID = "stallkeeper/reading/"+probe, 1, uint16(i%60_000+1)
		p.Payload = fmt.Appendf(nil, `{"celsius":%.1f,"time":%q}`, celsius, at.Format(time.RFC3339Nano))
		if err := p.Write(out); err != nil {
			return err
		}
	}
	return out.Flush()
}
