package estimator

// DefaultPrior is the prior that is shipped.
func DefaultPrior() Prior { return handPrior() }
