package metrics

import (
	"math"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

func describe(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("stallkeeper_"+name, help, labels, nil)
}

var (
	probeTemperature = describe("probe_temperature_celsius", "Last good reading of the probe. Absent while it is silent or cannot be relied on.", "probe")
	probeMonoxide    = describe("probe_carbon_monoxide_ratio", "Last carbon-monoxide reading as a fraction of the air. It is no safety device: a certified alarm is needed.", "probe")
	probeTime        = describe("probe_reading_timestamp_seconds", "When the probe's last reading was measured.", "probe")
	probeBattery     = describe("probe_battery_ratio", "Charge of the battery that feeds the probe, its own or its board's, as it last said. Absent where none is told.", "probe")
	probeSilent      = describe("probe_silent", "1 while nothing has come from the probe for too long.", "probe")

	pitSetPoint = describe("pit_setpoint_celsius", "Setpoint of the pit now in force.", "cook")
	allReady    = describe("cook_ready_timestamp_seconds", "When all pieces are ready, at this level of probability.", "cook", "level")

	pieceCore   = describe("piece_core_celsius", "Five-minute median of the piece's core.", "cook", "piece")
	pieceTarget = describe("piece_target_celsius", "Core temperature at which the piece is ready.", "cook", "piece")
	pieceReady  = describe("piece_ready_timestamp_seconds", "When the piece is ready, at this level of probability.", "cook", "piece", "level")
	pieceNever  = describe("piece_never_ready_ratio", "Probability that the piece is not ready within 36 hours.", "cook", "piece")
	pieceServe  = describe("piece_served_in_time_ratio", "Probability that the piece is ready by the serving hour.", "cook", "piece")
	pieceDanger = describe("piece_danger_zone_seconds", "Measured time between 5 and 57 degrees Celsius so far. It is no verdict.", "cook", "piece")
	pieceState  = describe("piece_state", "1 for what the piece is doing, 0 for what it is not.", "cook", "piece", "state")

	alarms      = describe("alarms", "Alarms that are open.", "state")
	quietUntil  = describe("quiet_until_timestamp_seconds", "Until when nothing needs a person, with a probability of 0.9. Absent while it cannot be said.")
	connected   = describe("intake_connected", "1 while readings can come in.")
	clients     = describe("intake_clients", "Clients of the embedded broker.")
	readings    = describe("readings_total", "Readings stored since the start.")
	failures    = describe("forecaster_failures_total", "Panics of the forecaster since the start that the watch survived. Above 0: please report it with the cook's log.")
	waiting     = describe("readings_waiting", "Readings that are stored and not judged yet. A few are usual.")
	waited      = describe("readings_waiting_seconds", "How long the oldest reading that is not judged yet, or a cook to be counted from its readings, has waited. Above 600 alarms come late.")
	quarantined = describe("quarantined_total", "Payloads put into quarantine since the start.")
)

// live turns a snapshot into metrics at each scrape.
type live struct{ view View }

// Describe names every metric.
func (live) Describe(c chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{probeTemperature, probeMonoxide, probeTime, probeSilent, probeBattery, pitSetPoint, allReady, pieceCore, pieceTarget,
		pieceReady, pieceNever, pieceServe, pieceDanger, pieceState, alarms, quietUntil, connected, clients, readings, waiting, waited, quarantined, failures} {
		c <- d
	}
}

// Collect reads the live state.
func (l live) Collect(c chan<- prometheus.Metric) {
	s, out := l.view.Snapshot(), sink(c)
	for _, p := range s.Probes {
		out.probe(p)
	}
	for i := range s.Cooks {
		out.cook(&s.Cooks[i], s.Now)
	}
	counts := map[alarm.State]int{alarm.Pending: 0, alarm.Active: 0, alarm.Acked: 0, alarm.Shelved: 0, alarm.Returned: 0}
	for _, a := range s.Alarms {
		counts[a.State]++
	}
	for state, n := range counts {
		out.gauge(alarms, float64(n), string(state))
	}
	if s.QuietUntil.Known {
		out.time(quietUntil, s.QuietUntil.Until)
	}
	out.gauge(connected, truth(s.Intake.Connected))
	out.gauge(clients, float64(s.Intake.Clients))
	c <- prometheus.MustNewConstMetric(readings, prometheus.CounterValue, float64(s.Intake.Received))
	out.gauge(waiting, float64(s.Intake.Waiting))
	out.gauge(waited, s.Intake.Waited.Seconds())
	c <- prometheus.MustNewConstMetric(quarantined, prometheus.CounterValue, float64(s.Intake.Quarantined))
	c <- prometheus.MustNewConstMetric(failures, prometheus.CounterValue, float64(s.Failures))
}

type sink chan<- prometheus.Metric

// gauge sends a value, unless there is none.
func (s sink) gauge(d *prometheus.Desc, v float64, labels ...string) {
	if !math.IsNaN(v) {
		s <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
}

// time sends a Unix time, unless there is none.
func (s sink) time(d *prometheus.Desc, t time.Time, labels ...string) {
	if !t.IsZero() {
		s.gauge(d, float64(t.UnixMilli())/1000, labels...)
	}
}

func (s sink) probe(p monitor.ProbeView) {
	id := string(p.ID)
	s.gauge(probeSilent, truth(p.Silent), id)
	s.time(probeTime, p.Last.Time, id)
	if p.Battery != nil {
		s.gauge(probeBattery, p.Battery.Percent/100, id)
	}
	if p.Silent || p.Last.Quality != cook.Good || p.Last.Time.IsZero() || p.Last.Retained {
		return
	}
	if p.Role == cook.RoleCO {
		s.gauge(probeMonoxide, float64(p.Last.Celsius)*1e-6, id) // kept in parts per million
		return
	}
	s.gauge(probeTemperature, float64(p.Last.Celsius), id)
}

func (s sink) cook(c *monitor.CookView, now time.Time) {
	id := strconv.FormatInt(int64(c.Stored.ID), 10)
	s.gauge(pitSetPoint, float64(c.Stored.SetPointAt(now)), id)
	for i, level := range estimator.Levels {
		s.time(allReady, c.AllReady[i], id, levelText(level))
	}
	for _, p := range c.Pieces {
		s.piece(id, p)
	}
}

func (s sink) piece(cookID string, p monitor.PieceView) {
	piece, f := string(p.Piece.ID), p.Forecast
	s.gauge(pieceTarget, float64(p.Piece.Target), cookID, piece)
	if !p.Forecasted {
		return
	}
	s.gauge(pieceCore, float64(f.Core), cookID, piece)
	s.gauge(pieceDanger, p.DangerZone.Seconds(), cookID, piece)
	s.gauge(pieceNever, f.PNever, cookID, piece)
	s.gauge(pieceServe, p.ServeChance, cookID, piece)
	for i, level := range estimator.Levels {
		s.time(pieceReady, f.Ready[i], cookID, piece, levelText(level))
	}
	for _, state := range []estimator.State{estimator.Warming, estimator.Stall, estimator.Climbing, estimator.Wrapped, estimator.Ready, estimator.Cooling, estimator.Unknown} {
		s.gauge(pieceState, truth(f.State == state), cookID, piece, string(state))
	}
}

func levelText(level float64) string { return strconv.FormatFloat(level, 'g', -1, 64) }

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
