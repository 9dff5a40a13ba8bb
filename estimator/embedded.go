package estimator

import (
	_ "embed"
	"encoding/json"
)

//go:embed prior.json
var shippedPrior []byte

// DefaultPrior is the prior that is shipped, learned from simulated cooks (testdata/cooks) by
// go run ./estimator/internal/train.
func DefaultPrior() Prior {
	var p Prior
	if err := json.Unmarshal(shippedPrior, &p); err != nil {
		panic("estimator: the embedded prior cannot be read: " + err.Error())
	}
	return p
}
