package plans

import (
	"net/http"
	"net/url"
	"strings"
	"sync"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
)

// chillView is the page that plans a chill.
type chillView struct {
	Typed  url.Values
	Wrong  string
	Cuts   []form.Cut
	Limits []plan.Chilled
}

// Get is what was typed.
func (v *chillView) Get(name string) string { return v.Typed.Get(name) }

// Best are the ways with the least cutting that meet a limit.
func (v *chillView) Best(c plan.Chilled) []plan.ChillWay {
	var out []plan.ChillWay
	for _, where := range []estimator.Surroundings{estimator.IceWater, estimator.CoolerAir} {
		if w, ok := c.Thickest(where); ok {
			out = append(out, w)
		}
	}
	return out
}

// chillAsk reads what is to be chilled from a form or a query.
func chillAsk(typed url.Values) (plan.ChillAsk, error) {
	a := plan.ChillAsk{Cut: estimator.Cut(typed.Get("cut")), Cured: typed.Get("cured") != ""}
	var err error
	if a.MassKg, err = form.Measure(strings.TrimSpace(typed.Get("mass")), "kg", cook.ParseMass); err != nil {
		return a, err
	}
	a.ThicknessMM, err = form.Measure(strings.TrimSpace(typed.Get("thick")), "mm", cook.ParseLength)
	return a, err
}

func (p *Set) getChill(w http.ResponseWriter, r *http.Request) error {
	v := &chillView{Typed: r.URL.Query(), Cuts: form.Cuts()}
	if len(v.Typed) == 0 {
		v.Typed = url.Values{"cut": {"brisket_flat_cured"}, "mass": {"1.6 kg"}, "thick": {"45 mm"}}
	}
	status := http.StatusOK
	a, err := chillAsk(v.Typed)
	if err == nil {
		v.Limits, err = p.chills.plan(p.Planner, a)
	}
	if err != nil {
		v.Wrong, status = strings.ReplaceAll(err.Error(), "\n", "; "), http.StatusUnprocessableEntity
	}
	return p.Render(w, r, status, "chill", frame.View{Title: "Chill", Here: "plan", Body: v})
}

// chills remembers the newest plans: the same question has the same answer, and takes seconds of work on a small board.
type chills struct {
	mu    sync.Mutex // guards known
	known map[plan.ChillAsk][]plan.Chilled
}

// maxChills bounds what is remembered.
const maxChills = 32

func (c *chills) plan(f plan.Forecaster, a plan.ChillAsk) ([]plan.Chilled, error) {
	c.mu.Lock()
	limits, ok := c.known[a]
	c.mu.Unlock()
	if ok {
		return limits, nil
	}
	limits, err := plan.ChillPlan(f, a)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.known == nil || len(c.known) >= maxChills {
		c.known = map[plan.ChillAsk][]plan.Chilled{}
	}
	c.known[a] = limits
	return limits, nil
}
