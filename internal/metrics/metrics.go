// Package metrics exposes the live state and the daemon's own work to Prometheus, on a registry that it is given.
//
// Units are base units: degrees Celsius, seconds, Unix times in seconds, ratios from 0 to 1. What is not known is absent,
// never 0: a probe that is silent, or whose last reading cannot be relied on, has no temperature; a ready time beyond
// the forecaster's horizon has no sample. The label "level" is a probability: half of the probability lies before 0.5.
package metrics

import (
	"errors"
	"log/slog"
	"net/http"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"stallkeeper/internal/monitor"
)

// View gives the live state.
type View interface{ Snapshot() monitor.Snapshot }

// Metrics takes note of work as it is done. Its methods may be called from several goroutines.
type Metrics struct {
	commits    prometheus.Histogram
	forecasts  prometheus.Histogram
	duplicates prometheus.Counter
}

// New registers every metric. The live state is read anew at each scrape.
func New(registry prometheus.Registerer, view View, version string) (*Metrics, error) {
	m := &Metrics{
		commits: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "stallkeeper_commit_seconds", Help: "Time from the start of a transaction to its being on disk.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5},
		}),
		forecasts: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "stallkeeper_forecast_seconds", Help: "Time that one forecast of one piece took.",
			Buckets: []float64{.005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}),
		duplicates: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "stallkeeper_duplicates_total", Help: "Readings that came again and were stored already.",
		}),
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "stallkeeper_build_info", Help: "Version of the running program; the value is always 1.",
		ConstLabels: prometheus.Labels{"version": version, "goversion": runtime.Version()},
	})
	build.Set(1)
	var errs []error
	for _, c := range []prometheus.Collector{m.commits, m.forecasts, m.duplicates, build, live{view}} {
		errs = append(errs, registry.Register(c))
	}
	return m, errors.Join(errs...)
}

// Path is a path of messages as it stands.
type Path struct {
	Name      string
	Pending   int       // messages that wait
	Oldest    time.Time // when the first of them was made; zero when none waits
	Delivered uint64    // since the start
	Failures  uint64    // failed tries since the start
}

// Messages registers the metrics of the outbox. paths is called at each scrape; after an error they are absent and the
// scrape says so.
func Messages(registry prometheus.Registerer, paths func() ([]Path, error), now func() time.Time) error {
	return registry.Register(outbox{paths, now})
}

// Committed takes note of a transaction that reached the disk.
func (m *Metrics) Committed(took time.Duration) { m.commits.Observe(took.Seconds()) }

// Forecasted takes note of a forecast.
func (m *Metrics) Forecasted(took time.Duration) { m.forecasts.Observe(took.Seconds()) }

// Duplicates takes note of readings that were stored already.
func (m *Metrics) Duplicates(n int) { m.duplicates.Add(float64(n)) }

// Handler serves the metrics in the text format, or in OpenMetrics to those who ask for it.
func Handler(from prometheus.Gatherer, log *slog.Logger) http.Handler {
	return promhttp.HandlerFor(from, promhttp.HandlerOpts{
		EnableOpenMetrics: true,
		ErrorHandling:     promhttp.ContinueOnError,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelError),
	})
}
