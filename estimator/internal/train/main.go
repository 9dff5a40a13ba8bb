// Command train learns the prior that is shipped with the estimator from an archive of finished cooks and writes it as
// JSON. Run it from the root of the repository:
//
//	go run ./estimator/internal/train
//
// The archive holds simulated cooks (see testdata/cooks/README.md). The same archive always gives the same prior.
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"strconv"

	"stallkeeper/estimator"
)

func main() {
	archive := flag.String("cooks", "testdata/cooks/minute.tar.gz", "archive of finished cooks: `FILE` with NAME/cook.json and NAME/readings.csv")
	out := flag.String("out", "estimator/prior.json", "`FILE` to write")
	flag.Parse()
	if err := train(*archive, *out); err != nil {
		fmt.Fprintln(os.Stderr, "train:", err)
		os.Exit(2)
	}
}

func train(archive, out string) error {
	cooks, err := readArchive(archive)
	if err != nil {
		return err
	}
	prior, err := estimator.Learn(estimator.BasePrior(), cooks)
	if err != nil {
		return err
	}
	data, err := json.Marshal(prior)
	if err != nil {
		return fmt.Errorf("encode the prior: %w", err)
	}
	if data, err = shorten(data); err != nil {
		return err
	}
	if err := os.WriteFile(out, data, 0o644); err != nil {
		return err
	}
	fmt.Printf("%s: learned from %d cooks, %d bytes\n", out, prior.Cooks, len(data))
	return nil
}

// shorten rounds every number to five digits: a prior knows no more.
func shorten(data []byte) ([]byte, error) {
	var tree any
	if err := json.Unmarshal(data, &tree); err != nil {
		return nil, fmt.Errorf("decode the prior: %w", err)
	}
	return json.Marshal(rounded(tree))
}

func rounded(v any) any {
	switch v := v.(type) {
	case float64:
		return json.RawMessage(strconv.FormatFloat(v, 'g', 5, 64))
	case []any:
		for i := range v {
			v[i] = rounded(v[i])
		}
	case map[string]any:
		for k := range v {
			v[k] = rounded(v[k])
		}
	}
	return v
}
