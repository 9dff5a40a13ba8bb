package station

import (
	"encoding/json"
	"math"
	"time"

	"stallkeeper/cmd/stallkeeper-probe/internal/backlog"
)

// noisyAbove is the spread of the samples, in kelvin, that makes a reading noisy; common practice, no source.
const noisyAbove = 3

// reading is the payload of a reading with a time.
type reading struct {
	Celsius float64 `json:"celsius"`
	Time    string  `json:"time"`
	Seq     int64   `json:"seq"`
	Quality string  `json:"quality"`
	Samples int     `json:"samples,omitempty"`
	Spread  float64 `json:"spread,omitempty"`
}

// senml is a reading timed by its age (RFC 8428: a time below 2^28 counts from now).
type senml struct {
	Name string  `json:"n"`
	Unit string  `json:"u"`
	V    float64 `json:"v"`
	T    float64 `json:"t"`
}

// payload gives what is sent for a record. A record from before the clock was set gets its true time as soon as the clock
// is, and until then its age; ok is false when neither is known, after a reboot.
func payload(r backlog.Record, c clock) (data []byte, ok bool) {
	at := time.UnixMicro(r.Unix)
	if r.Unix == 0 {
		if r.Boot == "" || r.Boot != c.boot {
			return nil, false
		}
		age := math.Max(c.uptime-r.Uptime, 0)
		if !c.set {
			data, err := json.Marshal([]senml{{Name: r.Probe, Unit: "Cel", V: round(r.Celsius), T: -math.Round(age*10) / 10}})
			return data, err == nil
		}
		at = c.now.Add(-time.Duration(age * float64(time.Second))).Truncate(time.Millisecond)
	}
	quality := "good"
	if r.Spread > noisyAbove {
		quality = "noisy"
	}
	data, err := json.Marshal(reading{Celsius: round(r.Celsius), Time: at.UTC().Format(time.RFC3339Nano), Seq: r.Seq, Quality: quality,
		Samples: r.Samples, Spread: round(r.Spread)})
	return data, err == nil
}

// round keeps a ten-thousandth of a degree, finer than any sensor here.
func round(v float64) float64 { return math.Round(v*1e4) / 1e4 }

// health is the retained status of the board.
type health struct {
	Online   bool                   `json:"online"`
	Time     string                 `json:"time,omitempty"` // missing while the clock is not set
	Interval float64                `json:"interval_s,omitempty"`
	Waiting  int                    `json:"backlog"`
	Thinned  int64                  `json:"backlog_thinned,omitempty"`
	Untimed  int64                  `json:"lost_untimed,omitempty"` // from before a reboot with a clock that was never set
	Battery  *float64               `json:"battery_percent,omitempty"`
	Link     *float64               `json:"link_dbm,omitempty"`
	Probes   map[string]probeHealth `json:"probes,omitempty"`
}

type probeHealth struct {
	OK    bool   `json:"ok"`
	Fault string `json:"fault,omitempty"`
	Text  string `json:"text,omitempty"`
}
