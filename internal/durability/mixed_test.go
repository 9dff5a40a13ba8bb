package durability

import (
	"fmt"
	"testing"
	"time"

	"stallkeeper/internal/testrig"
)

// TestMixed_600MessagesTenOfThemBad sends numbers, JSON and SenML at all levels of service, with bad ones among them.
func TestMixed_600MessagesTenOfThemBad(t *testing.T) {
	for name, start := range brokers() {
		t.Run(name, func(t *testing.T) {
			s, addr := start(t)
			k, stop := startReady(t, s, addr)
			sent, good := mixed()
			for probe, lines := range sent {
				for qos := range 3 {
					pub(t, addr, "stallkeeper/reading/"+probe, qos, lines[qos])
				}
			}
			awaitCount(t, s.dir, allReadings, good, 20*time.Second)
			awaitCount(t, s.dir, allBad, 600-good, 20*time.Second)
			if n := count(t, s.dir, "select count(*) from quarantine where length(reason) < 10"); n != 0 {
				t.Errorf("%d in quarantine without a reason", n)
			}
			stop()
			if got := k.in.Stats(); got.Stored != int64(good) || got.Quarantined != 10 || got.Failed != 0 {
				t.Errorf("Stats() = %+v, want %d stored and 10 in quarantine", got, good)
			}
		})
	}
}

// TestDuplicates_AreStoredOnce sends the same readings three times, as clients and brokers do after a lost connection.
func TestDuplicates_AreStoredOnce(t *testing.T) {
	for name, start := range brokers() {
		t.Run(name, func(t *testing.T) {
			s, addr := start(t)
			k, stop := startReady(t, s, addr)
			var lines []string
			for n := range 200 {
				at, celsius := reading(n)
				lines = append(lines, fmt.Sprintf(`{"celsius":%.1f,"time":%q}`, celsius, at.Format(time.RFC3339Nano)))
			}
			for qos := range 3 {
				pub(t, addr, "stallkeeper/reading/core", qos, lines)
			}
			for k.in.Stats().Messages < 600 {
				time.Sleep(10 * time.Millisecond)
			}
			stop()
			if got := k.in.Stats(); got.Stored != 200 || got.Duplicates != 400 || got.Conflicts != 0 {
				t.Errorf("Stats() = %+v, want 200 stored and 400 duplicates", got)
			}
			if n := count(t, s.dir, allReadings); n != 200 {
				t.Errorf("%d readings are stored, want 200", n)
			}
		})
	}
}

// brokers prepare the two ways in; each gives the settings and the address to publish to.
func brokers() map[string]func(*testing.T) (settings, string) {
	return map[string]func(*testing.T) (settings, string){
		"embedded broker": func(t *testing.T) (settings, string) {
			addr := testrig.FreeAddr(t)
			return settings{dir: t.TempDir(), listen: addr}, addr
		},
		"mosquitto": func(t *testing.T) (settings, string) {
			addr := testrig.StartMosquitto(t).Addr
			return settings{dir: t.TempDir(), url: "mqtt://" + addr}, addr
		},
	}
}

// startReady waits until messages arrive.
func startReady(t *testing.T, s settings, addr string) (k *intake, stop func()) {
	t.Helper()
	k, stop = startIntake(t, s)
	testrig.AwaitPort(t, addr)
	for k.client != nil && !k.client.Status().Connected {
		time.Sleep(10 * time.Millisecond)
	}
	return k, stop
}

// mixed gives 600 lines by probe and quality of service, and how many of them are good.
func mixed() (lines map[string][3][]string, good int) {
	bad := []string{"warm", "NaN", "1e400", "-300", "{}", `{"celsius":null}`, `{"celsius":1,"time":"yesterday"}`, `[{"n":"a","u":"%RH","v":1}]`,
		`{"celsius":1,"time":"2999-01-01T00:00:00Z"}`, `{"ohms":1000}`}
	lines = map[string][3][]string{}
	base := time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC)
	for i := range 600 {
		at := base.Add(time.Duration(i) * 5 * time.Second)
		line := fmt.Sprintf("%.1f", 20+float64(i)/10)
		switch {
		case i%60 == 59:
			line = bad[i/60]
		case i%3 == 1:
			line = fmt.Sprintf(`{"celsius":%s,"time":%q,"seq":%d}`, line, at.Format(time.RFC3339), i)
		case i%3 == 2:
			line = fmt.Sprintf(`[{"n":"core","u":"Cel","t":%d,"v":%s}]`, at.Unix(), line)
		}
		if i%60 != 59 {
			good++
		}
		probe := []string{"pit/left", "core", "flat"}[i/3%3]
		l := lines[probe]
		l[i/9%3] = append(l[i/9%3], line)
		lines[probe] = l
	}
	return lines, good
}
