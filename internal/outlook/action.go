package outlook

import (
	"encoding/json"
	"fmt"
	"time"

	"stallkeeper/estimator"
)

// Action is the cheapest thing to do so that a piece is ready by an hour; the zero value says that nothing was found.
type Action struct {
	Do     string  `json:"do"`
	PReady float64 `json:"p_ready"`
	Costs  string  `json:"costs"`
}

// Found reports whether an action reaches the hour.
func (a *Action) Found() bool { return a != nil && a.Do != "" }

// MarshalJSON writes null when nothing was found.
func (a *Action) MarshalJSON() ([]byte, error) {
	if !a.Found() {
		return []byte("null"), nil
	}
	type plain Action
	return json.Marshal((*plain)(a))
}

// mostSaid is the greatest chance that is put into figures: beyond it a forecast is not that good.
const mostSaid = 0.95

func (a *Action) text() string {
	if !a.Found() {
		return "Nothing tried makes it ready by the hour with nine chances in ten: serve later, or something else first."
	}
	likely := fmt.Sprintf("%.0f %% likely", 100*a.PReady)
	if a.PReady > mostSaid {
		likely = "over 95 % likely"
	}
	return fmt.Sprintf("To be ready by the hour: %s (%s; costs: %s).", a.Do, likely, a.Costs)
}

// Advise looks for the cheapest action, done at once, that makes P(ready by t) at least 0.9.
func Advise(e *estimator.Estimator, in estimator.Input, at, by time.Time) *Action {
	advice, ok := e.Advise(in, at, by)
	if !ok {
		return &Action{}
	}
	return &Action{Do: advice.Do, PReady: advice.PReady, Costs: advice.Costs}
}
