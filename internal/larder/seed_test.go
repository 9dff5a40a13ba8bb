package larder

import (
	"flag"

	_ "pgregory.net/rapid" // registers the flag
)

// The property tests draw the same cases in each run.
var _ = flag.Set("rapid.seed", "20261125")
