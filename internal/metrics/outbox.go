package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

var (
	pathPending   = describe("messages_pending", "Messages that wait for their delivery.", "path")
	pathOldest    = describe("messages_oldest_seconds", "Age of the oldest message that waits. Absent when none does.", "path")
	pathDelivered = describe("messages_delivered_total", "Messages delivered since the start.", "path")
	pathFailures  = describe("messages_failures_total", "Tries to deliver that failed since the start.", "path")
)

// outbox turns the state of the paths into metrics at each scrape.
type outbox struct {
	paths func() ([]Path, error)
	now   func() time.Time
}

// Describe names every metric.
func (outbox) Describe(c chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{pathPending, pathOldest, pathDelivered, pathFailures} {
		c <- d
	}
}

// Collect asks for the state.
func (o outbox) Collect(c chan<- prometheus.Metric) {
	paths, err := o.paths()
	if err != nil {
		c <- prometheus.NewInvalidMetric(pathPending, err)
		return
	}
	out := sink(c)
	for _, p := range paths {
		out.gauge(pathPending, float64(p.Pending), p.Name)
		if !p.Oldest.IsZero() {
			out.gauge(pathOldest, max(0, o.now().Sub(p.Oldest).Seconds()), p.Name)
		}
		c <- prometheus.MustNewConstMetric(pathDelivered, prometheus.CounterValue, float64(p.Delivered), p.Name)
		c <- prometheus.MustNewConstMetric(pathFailures, prometheus.CounterValue, float64(p.Failures), p.Name)
	}
}
