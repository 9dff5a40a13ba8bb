package probes

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
)

// probeView is one probe with its checks.
type probeView struct {
	ID         cook.ProbeID
	Known      bool
	Probe      monitor.ProbeView
	Fault      string // since when it measures nothing, why, and what to do
	Standing   calibrate.Standing
	Checks     []calibrate.Check // newest first
	Every      time.Duration
	Tolerance  string
	Correction string
	Fit        *calibrate.Correction // what would correct the last check, on top of what is configured
	Others     []cook.ProbeID
	With       cook.ProbeID
	Side       *calibrate.Comparison
	Check      checkForm
	Kept       bool // a check was entered just now
}

// besideWithin is how near in time two readings must lie to be compared on the page.
const besideWithin = 30 * time.Second

// getProbePage shows a probe with its checks, and beside another one where the request names it.
func (p *Set) getProbePage(w http.ResponseWriter, r *http.Request) error {
	return p.probePage(w, r, cook.ProbeID(r.PathValue("id")), http.StatusOK, checkForm{})
}

// probePage shows the probe; f is a check that was not accepted.
func (p *Set) probePage(w http.ResponseWriter, r *http.Request, id cook.ProbeID, status int, f checkForm) error {
	f.Sign = p.Signing(r)
	if err := id.CheckKept(); err != nil {
		return problem.New(http.StatusNotFound, "Not found", fmt.Sprintf("no probe can have the name %s", problem.Clip(string(id))))
	}
	snap := p.View.Snapshot()
	see := p.ReaderAt(r, &snap)
	standings, history, err := p.Standings(r.Context(), id)
	if err != nil {
		return err
	}
	body := probeView{ID: id, Check: f, Kept: r.URL.Query().Get("kept") == "check", Standing: standings[id], Checks: slices.Clone(history[id]), Every: p.Checking.Every, Tolerance: fmt.Sprintf("%g K", float64(p.Checking.Allowed()))}
	slices.Reverse(body.Checks)
	for _, v := range snap.Probes {
		if v.ID == id {
			body.Known, body.Probe = true, v
			if v.Fault != nil {
				body.Fault = faultText(see, *v.Fault)
			}
		} else if v.Role != cook.RoleCO {
			body.Others = append(body.Others, v.ID)
		}
	}
	if !body.Known && len(body.Checks) == 0 {
		return problem.New(http.StatusNotFound, "Not found", fmt.Sprintf("no probe is called %s: the probes page lists those that have spoken", problem.Clip(string(id))))
	}
	current, corrected := p.Checking.Corrections[id]
	if corrected {
		body.Correction = fmt.Sprintf("true = %s × sent %s", strconv.FormatFloat(current.Slope, 'g', 6, 64), signed(current.K))
	} else {
		current = calibrate.Correction{Slope: 1}
	}
	if last := body.Standing.Last; last != nil && !last.Passed {
		if fit, err := calibrate.Fit(last.Points); err == nil {
			both := current.Then(fit)
			body.Fit = &both
		}
	}
	if body.With = cook.ProbeID(r.FormValue("with")); body.With != "" && body.With != id {
		side, err := p.Compare(r.Context(), id, body.With, time.Time{}, time.Time{}, besideWithin)
		if err != nil {
			return err
		}
		body.Side = &side
	}
	return p.Render(w, r, status, "probe", frame.View{Reader: see, Title: "Probe " + string(id), Here: "probes", Body: body})
}

func signed(k float64) string {
	if k < 0 {
		return fmt.Sprintf("− %.3g K", -k)
	}
	return fmt.Sprintf("+ %.3g K", k)
}

// checkState says in a few words how the checks of a probe stand; empty when nobody asks for checks and there are none.
func checkState(s calibrate.Standing, known bool, every time.Duration) string {
	switch {
	case !known && every > 0:
		return "never checked"
	case !known:
		return ""
	case s.Failed():
		return "failed its last check"
	case s.Due:
		return "check overdue"
	}
	return "checked"
}
