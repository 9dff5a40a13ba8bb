package api

import (
	"math"
	"net/http"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

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
	d := standingDoc{Probe: id, Checks: []checkDoc{}, Due: s.Due, Tolerance: float64(api.opts.Checking.Allowed()), Every: api.opts.Checking.Every.Seconds(), Doubtful: []spanDoc{}, Drift: []trendDoc{}}
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
	standings, history, err := api.opts.Standings(r.Context(), id)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, api.standingDocOf(id, standings[id], history[id]))
}

// checkAsk is a check as it is sent. Whether it was passed is for the daemon to say.
type checkAsk struct {
	Probe cook.ProbeID `json:"probe"`
	Time  time.Time    `json:"time"`
	visitor.Signature
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
	_, c, err := shop.CheckOf(entry)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, checkDocOf(c))
}

// keepCheck judges a check and enters it in the shop's records.
func (api *API) keepCheck(r *http.Request, ask checkAsk) (record.Entry, error) {
	who, err := api.opts.Sign(r, ask.Signature)
	if err != nil {
		return record.Entry{}, err
	}
	return api.opts.KeepCheck(r.Context(), shop.Checked{Probe: ask.Probe, At: ask.Time, Tolerance: ask.Tolerance, Body: record.ProbeChecked{Method: ask.Method,
		AltitudeM: ask.AltitudeM, Reference: ask.Reference, Points: ask.Points, AsLeft: ask.AsLeft, Action: ask.Action, Note: ask.Note}}, who)
}

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
	c, err := api.opts.Compare(r.Context(), a, b, from, to, within)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, comparisonDocOf(a, b, within, c))
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
