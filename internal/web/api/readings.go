package api

import (
	"net/http"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
)

// Sizes of pages.
const (
	defaultPage   = 1000
	largestPage   = 10000
	defaultPoints = 600
	mostPoints    = 2000

	streamedAtOnce = 500 // readings in memory while a page of them goes out
)

// readingDoc is a reading in the API. What is usual is left out: a device's clock, neither retained nor late.
type readingDoc struct {
	Probe    cook.ProbeID    `json:"probe"`
	Time     time.Time       `json:"time"`
	Celsius  thermal.Celsius `json:"celsius"`
	Quality  cook.Quality    `json:"quality"`
	Clock    cook.Clock      `json:"clock,omitempty"`
	Retained bool            `json:"retained,omitempty"`
	Backlog  bool            `json:"backlog,omitempty"`
	Raw      string          `json:"raw,omitempty"`
	Check    string          `json:"check,omitempty"` // "failed": it lies before a check that its probe failed, after the last good one
}

func readingDocOf(r cook.Reading) readingDoc {
	d := readingDoc{Probe: r.Probe, Time: r.Time.UTC(), Celsius: r.Celsius, Quality: r.Quality, Retained: r.Retained, Backlog: r.Backlog, Raw: r.Raw}
	if r.Clock != cook.DeviceClock {
		d.Clock = r.Clock
	}
	return d
}

func (api *API) getReadings(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "probe", "from", "to", "limit", "after", "after_probe")
	from, to := q.span()
	ask := cook.ReadingQuery{Probe: q.probe("probe"), From: from, To: to, AfterTime: q.time("after"), AfterProbe: q.probe("after_probe")}
	limit := q.count("limit", defaultPage, largestPage)
	if ask.AfterTime.IsZero() != (ask.AfterProbe == "") {
		q.fail("after and after_probe go together: follow \"next\" as it is")
	}
	if err := q.err(); err != nil {
		return err
	}
	standings, _, err := api.opts.Standings(r.Context(), ask.Probe)
	if err != nil {
		return err
	}
	doc := func(one cook.Reading) any {
		d := readingDocOf(one)
		if standings[one.Probe].InDoubt(one.Time) {
			d.Check = "failed"
		}
		return d
	}
	return api.streamReadings(w, r, ask, limit, doc)
}

// streamReadings answers with a page of readings, a few hundred at a time: ten thousand at once are megabytes on a small board.
func (api *API) streamReadings(w http.ResponseWriter, r *http.Request, ask cook.ReadingQuery, limit int, doc func(cook.Reading) any) error {
	ask.Limit = min(limit+1, streamedAtOnce)
	some, err := api.opts.Library.Readings(r.Context(), ask)
	if err != nil {
		return err
	}
	out := api.stream(w, r, `{"readings":[`)
	var following *string
	for n := 0; ; {
		for _, one := range some[:min(len(some), limit-n)] {
			out.item(doc(one))
			ask.AfterTime, ask.AfterProbe = one.Time, one.Probe
		}
		if n+len(some) > limit {
			following = next(r, true, "limit", strconv.Itoa(limit), "after", ask.AfterTime.UTC().Format(time.RFC3339Nano), "after_probe", string(ask.AfterProbe))
			break
		}
		if len(some) < ask.Limit || out.err != nil {
			break
		}
		n += len(some)
		ask.Limit = min(limit+1-n, streamedAtOnce)
		if some, err = api.opts.Library.Readings(r.Context(), ask); err != nil {
			break
		}
	}
	return out.end(r, err, `],"next":`, following)
}

func (api *API) postReading(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Probe   cook.ProbeID     `json:"probe"`
		Celsius *thermal.Celsius `json:"celsius"`
		Time    time.Time        `json:"time"`
	}
	if err := take(r, &body, false); err != nil {
		return err
	}
	if body.Celsius == nil {
		return problem.Bad("celsius is missing: send the temperature in degrees Celsius")
	}
	reading, err := api.opts.EnterReading(r.Context(), body.Probe, *body.Celsius, body.Time)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, readingDocOf(reading))
}

// seriesDoc is a thinned series in columns, as charts take it: Unix seconds and degrees Celsius.
type seriesDoc struct {
	Probe cook.ProbeID      `json:"probe"`
	Time  []float64         `json:"time"`
	Min   []thermal.Celsius `json:"min"`
	Max   []thermal.Celsius `json:"max"`
	Last  []thermal.Celsius `json:"last"`
}

func (api *API) getSeries(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "probe", "from", "to", "points")
	probe := q.probe("probe")
	from, to := q.span()
	points := q.count("points", defaultPoints, mostPoints)
	if !q.values.Has("probe") {
		q.fail("probe is missing: name the probe whose series it should be")
	}
	if err := q.err(); err != nil {
		return err
	}
	buckets, err := api.opts.Library.Series(r.Context(), probe, from, to, points)
	if err != nil {
		return err
	}
	n := len(buckets)
	doc := seriesDoc{Probe: probe, Time: make([]float64, n), Min: make([]thermal.Celsius, n), Max: make([]thermal.Celsius, n), Last: make([]thermal.Celsius, n)}
	for i, b := range buckets {
		doc.Time[i], doc.Min[i], doc.Max[i], doc.Last[i] = unix(b.Time), b.Min, b.Max, b.Last
	}
	return api.give(w, r, http.StatusOK, doc)
}

// unix is a time in seconds since 1970, to the millisecond.
func unix(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

// quarantineDoc is a payload that could not become a reading. Escaped says that bytes that are not UTF-8 stand in it as
// \xNN, and a backslash as \\.
type quarantineDoc struct {
	Time    time.Time `json:"time"`
	Topic   string    `json:"topic"`
	Payload string    `json:"payload"`
	Escaped bool      `json:"escaped,omitempty"`
	Reason  string    `json:"reason"`
}

func (api *API) getQuarantine(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "before", "limit")
	before, limit := q.id("before"), q.count("limit", defaultPage, largestPage)
	if err := q.err(); err != nil {
		return err
	}
	kept, err := api.opts.Library.Quarantine(r.Context(), before, limit+1)
	if err != nil {
		return err
	}
	more := len(kept) > limit
	kept = kept[:min(limit, len(kept))]
	answer := struct {
		Quarantine []quarantineDoc `json:"quarantine"`
		Next       *string         `json:"next"`
	}{Quarantine: make([]quarantineDoc, len(kept))}
	for i, k := range kept {
		text, escaped := payloadText(k.Payload)
		answer.Quarantine[i] = quarantineDoc{k.Time.UTC(), k.Topic, text, escaped, k.Reason}
	}
	if more {
		answer.Next = next(r, true, "limit", strconv.Itoa(limit), "before", strconv.FormatInt(kept[limit-1].ID, 10))
	}
	return api.give(w, r, http.StatusOK, answer)
}

// payloadText makes a payload readable without losing a byte.
func payloadText(payload []byte) (text string, escaped bool) {
	if utf8.Valid(payload) {
		return string(payload), false
	}
	const hex = "0123456789abcdef"
	var b strings.Builder
	for len(payload) > 0 {
		r, n := utf8.DecodeRune(payload)
		switch {
		case r == utf8.RuneError && n == 1:
			b.WriteString(`\x`)
			b.WriteByte(hex[payload[0]>>4])
			b.WriteByte(hex[payload[0]&15])
		case r == '\\':
			b.WriteString(`\\`)
		default:
			b.WriteRune(r)
		}
		payload = payload[n:]
	}
	return b.String(), true
}
