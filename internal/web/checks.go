package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// Checks keeps checks of thermometers in the shop's records.
type Checks interface {
	// ProbeChecks gives the checks of an instrument that stand; of all instruments when the name is empty.
	ProbeChecks(ctx context.Context, instrument string) ([]record.Entry, error)
	Append(ctx context.Context, drafts ...record.Draft) ([]record.Entry, error)
}

// Checking says how probes are to be checked, and how their readings are corrected.
type Checking struct {
	Tolerance   thermal.CelsiusDelta // where a check names none; 0 = calibrate.DefaultTolerance
	Every       time.Duration        // how often; 0 = nobody asks
	Corrections map[cook.ProbeID]calibrate.Correction
}

func (c Checking) tolerance() thermal.CelsiusDelta {
	if c.Tolerance == 0 {
		return calibrate.DefaultTolerance
	}
	return c.Tolerance
}

// checkOf reads a check from its record. A point below 50 °C counts as ice where it is near 0, others as warm.
func checkOf(e record.Entry) (cook.ProbeID, calibrate.Check, error) {
	body, err := e.Decode()
	if err != nil {
		return "", calibrate.Check{}, err
	}
	b, ok := body.(*record.ProbeChecked)
	if !ok {
		return "", calibrate.Check{}, fmt.Errorf("entry %d is a %s and no check", e.Seq, e.Kind)
	}
	c := calibrate.Check{Number: e.Seq, Time: e.At, By: e.By, Passed: b.Passed, AsLeft: b.AsLeft, Action: b.Action, Note: b.Note}
	if b.Tolerance != nil {
		c.Tolerance = *b.Tolerance
	}
	for _, p := range b.Points {
		kind := calibrate.Kind("")
		switch {
		case math.Abs(float64(p.True)) < 5:
			kind = calibrate.Ice
		case p.True > 50:
			kind = calibrate.Boil
		}
		c.Points = append(c.Points, calibrate.Point{Kind: kind, Time: e.At, Reference: p.True, Shown: p.Read})
	}
	return cook.ProbeID(b.Instrument), c, nil
}

// standings gives how each probe that was ever checked stands; of one probe where it is named.
func (o Shop) standings(ctx context.Context, id cook.ProbeID) (map[cook.ProbeID]calibrate.Standing, map[cook.ProbeID][]calibrate.Check, error) {
	entries, err := o.Checks.ProbeChecks(ctx, string(id))
	if err != nil {
		return nil, nil, err
	}
	history := map[cook.ProbeID][]calibrate.Check{}
	for _, e := range entries {
		probe, c, err := checkOf(e)
		if err != nil {
			return nil, nil, err
		}
		history[probe] = append(history[probe], c)
	}
	out := map[cook.ProbeID]calibrate.Standing{}
	for probe, list := range history {
		slices.SortStableFunc(list, func(a, b calibrate.Check) int { return a.Time.Compare(b.Time) })
		out[probe] = calibrate.Stand(list, o.Now(), o.Checking.Every)
	}
	return out, history, nil
}

type checkPointDoc struct {
	Reference float64 `json:"true_c"`
	Shown     float64 `json:"read_c"`
	Error     float64 `json:"error_k"`
}

type checkDoc struct {
	Number    int64           `json:"number"` // of the entry in the records
	Time      time.Time       `json:"time"`
	By        string          `json:"by"`
	Points    []checkPointDoc `json:"points"`
	Tolerance float64         `json:"tolerance_k"`
	Passed    bool            `json:"passed"`
	AsLeft    bool            `json:"as_left"`
	Action    string          `json:"action,omitempty"`
	Note      string          `json:"note,omitempty"`
}

type spanDoc struct {
	From *time.Time `json:"from"`
	To   *time.Time `json:"to"`
}

type trendDoc struct {
	At       string  `json:"at"`
	PerMonth float64 `json:"k_per_month"`
	N        int     `json:"n"`
}

type correctionDoc struct {
	Slope float64 `json:"slope"`
	K     float64 `json:"k"`
}

// standingDoc is a probe with its checks, newest last.
type standingDoc struct {
	Probe      cook.ProbeID   `json:"probe"`
	Checks     []checkDoc     `json:"checks"`
	Passed     *bool          `json:"passed"` // the last check; null when there is none
	Due        bool           `json:"due"`
	Tolerance  float64        `json:"tolerance_k"`
	Every      float64        `json:"every_seconds"`
	Doubtful   []spanDoc      `json:"doubtful"`
	Drift      []trendDoc     `json:"drift"`
	Correction *correctionDoc `json:"correction"` // applied to its readings by the configuration; null without
}

func checkDocOf(c calibrate.Check) checkDoc {
	d := checkDoc{Number: c.Number, Time: c.Time.UTC(), By: c.By, Points: []checkPointDoc{}, Tolerance: float64(c.Tolerance), Passed: c.Passed, AsLeft: c.AsLeft, Action: c.Action, Note: c.Note}
	for _, p := range c.Points {
		d.Points = append(d.Points, checkPointDoc{float64(p.Reference), float64(p.Shown), thousandth(float64(p.Error()))})
	}
	return d
}

func thousandth(v float64) float64 { return math.Round(v*1000) / 1000 }

func (api *API) standingDocOf(id cook.ProbeID, s calibrate.Standing, history []calibrate.Check) standingDoc {
	d := standingDoc{Probe: id, Checks: []checkDoc{}, Due: s.Due, Tolerance: float64(api.opts.Checking.tolerance()), Every: api.opts.Checking.Every.Seconds(), Doubtful: []spanDoc{}, Drift: []trendDoc{}}
	for _, c := range history {
		d.Checks = append(d.Checks, checkDocOf(c))
	}
	if s.Last != nil {
		d.Passed = &s.Last.Passed
	}
	for _, x := range s.Doubtful {
		d.Doubtful = append(d.Doubtful, spanDoc{orNull(x.From), orNull(x.To)})
	}
	for _, t := range s.Trends {
		d.Drift = append(d.Drift, trendDoc{string(t.Kind), thousandth(t.PerMonth), t.N})
	}
	if c, ok := api.opts.Checking.Corrections[id]; ok {
		d.Correction = &correctionDoc{c.Slope, c.K}
	}
	return d
}

func (api *API) getChecks(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "probe")
	id := q.probe("probe")
	if !q.values.Has("probe") {
		q.fail("probe is missing: name the probe whose checks it should be")
	}
	if err := q.err(); err != nil {
		return err
	}
	standings, history, err := api.opts.standings(r.Context(), id)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, api.standingDocOf(id, standings[id], history[id]))
}

// checkAsk is a check as it is sent. Whether it was passed is for the daemon to say.
type checkAsk struct {
	Probe cook.ProbeID `json:"probe"`
	Time  time.Time    `json:"time"`
	signature
	Method    string                `json:"method"`
	Points    []record.CheckPoint   `json:"points"`
	Tolerance *thermal.CelsiusDelta `json:"tolerance_k"`
	AltitudeM *float64              `json:"altitude_m"`
	Reference string                `json:"reference"`
	AsLeft    bool                  `json:"as_left"`
	Action    string                `json:"action"`
	Note      string                `json:"note"`
}

func (api *API) postCheck(w http.ResponseWriter, r *http.Request) error {
	var ask checkAsk
	if err := take(r, &ask, false); err != nil {
		return err
	}
	entry, err := api.keepCheck(r, ask)
	if err != nil {
		return err
	}
	_, c, err := checkOf(entry)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, checkDocOf(c))
}

// keepCheck judges a check and enters it in the shop's records.
func (api *API) keepCheck(r *http.Request, ask checkAsk) (record.Entry, error) {
	if err := ask.Probe.Validate(); err != nil {
		return record.Entry{}, bad("probe: %s", clipTo(err.Error(), 200))
	}
	tolerance := api.opts.Checking.tolerance()
	if ask.Tolerance != nil {
		tolerance = *ask.Tolerance
	}
	var points []calibrate.Point
	for _, p := range ask.Points {
		points = append(points, calibrate.Point{Reference: p.True, Shown: p.Read})
	}
	if ask.Method == "" {
		ask.Method = "ice and boiling water"
	}
	body := record.ProbeChecked{Instrument: string(ask.Probe), Method: ask.Method, AltitudeM: ask.AltitudeM, Reference: ask.Reference, Points: ask.Points,
		Tolerance: &tolerance, Passed: calibrate.Judge(points, tolerance), AsLeft: ask.AsLeft, Action: ask.Action, Note: ask.Note}
	if err := body.Validate(); err != nil {
		return record.Entry{}, bad("%s", clipTo(strings.ReplaceAll(err.Error(), "\n", "; "), 500))
	}
	who, auth, err := api.opts.Sign(r, ask.signature)
	if err != nil {
		return record.Entry{}, err
	}
	entries, err := api.opts.Checks.Append(r.Context(), record.Draft{At: ask.Time, By: who, Auth: auth, Body: body})
	if err != nil {
		return record.Entry{}, recordError(err)
	}
	return entries[0], nil
}

// mostCompared bounds what a comparison reads of each probe.
const mostCompared = 20000

// comparisonDoc is two probes side by side: the first less the second.
type comparisonDoc struct {
	Probe  cook.ProbeID `json:"probe"`
	With   cook.ProbeID `json:"with"`
	Within float64      `json:"within_seconds"`
	Pairs  int          `json:"pairs"`
	From   *time.Time   `json:"from"`
	To     *time.Time   `json:"to"`
	Mean   *float64     `json:"mean_k"`
	Spread *float64     `json:"spread_k"`
	Least  *float64     `json:"least_k"`
	Most   *float64     `json:"most_k"`
}

func (api *API) getCompare(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "probe", "with", "from", "to", "within")
	a, b := q.probe("probe"), q.probe("with")
	from, to := q.span()
	within := time.Duration(q.count("within", 30, 3600)) * time.Second
	if !q.values.Has("probe") || !q.values.Has("with") {
		q.fail("probe and with are missing: name the two probes")
	} else if a == b {
		q.fail("probe and with are the same: name two probes")
	}
	if err := q.err(); err != nil {
		return err
	}
	c, err := api.opts.compare(r.Context(), a, b, from, to, within)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, comparisonDocOf(a, b, within, c))
}

// compare lays the good readings of two probes side by side; without a beginning those of the last 24 hours.
func (o Shop) compare(ctx context.Context, a, b cook.ProbeID, from, to time.Time, within time.Duration) (calibrate.Comparison, error) {
	if from.IsZero() {
		from = o.Now().Add(-24 * time.Hour)
		if !to.IsZero() {
			from = to.Add(-24 * time.Hour)
		}
	}
	var series [2][]calibrate.Sample
	for i, id := range []cook.ProbeID{a, b} {
		readings, err := o.Library.Readings(ctx, cook.ReadingQuery{Probe: id, From: from, To: to, Limit: mostCompared})
		if err != nil {
			return calibrate.Comparison{}, err
		}
		for _, one := range readings {
			if one.Quality == cook.Good && !one.Retained {
				series[i] = append(series[i], calibrate.Sample{Time: one.Time, Celsius: one.Celsius})
			}
		}
	}
	return calibrate.Compare(series[0], series[1], within), nil
}

func comparisonDocOf(a, b cook.ProbeID, within time.Duration, c calibrate.Comparison) comparisonDoc {
	doc := comparisonDoc{Probe: a, With: b, Within: within.Seconds(), Pairs: c.Pairs}
	if c.Pairs > 0 {
		value := func(d thermal.CelsiusDelta) *float64 { v := thousandth(float64(d)); return &v }
		doc.From, doc.To, doc.Mean, doc.Least, doc.Most = orNull(c.From), orNull(c.To), value(c.Mean), value(c.Least), value(c.Most)
		if c.Pairs > 1 {
			doc.Spread = value(c.Spread)
		}
	}
	return doc
}
