package main

import (
	"bytes"
	"strings"
	"testing"

	"stallkeeper/internal/cook"
)

// The shape that help tells is one that start takes.
func TestCookStart_ItsExampleIsValid(t *testing.T) {
	help := cookStartCmd{}.Help()
	from, to := strings.Index(help, "    {"), strings.Index(help, "Cuts:")
	if from < 0 || to < from {
		t.Fatal("help shows no cook.json")
	}
	c, err := cook.DecodeCook([]byte(help[from:to]))
	if err != nil {
		t.Fatal(err)
	}
	if p := c.Pieces[0]; p.ID != "flat" || p.Plan == nil || !p.Intact {
		t.Errorf("the example is %+v", p)
	}
}

// Help speaks of texts and numbers, not of the kinds of a programming language.
func TestHelp_NamesNoKinds(t *testing.T) {
	for _, verb := range []string{"cook event", "cook amend", "records monitor", "lot store", "brine"} {
		var out, errOut bytes.Buffer
		if code := run(t.Context(), append(strings.Fields(verb), "--help"), &out, &errOut); code != 0 {
			t.Fatalf("%s: %s", verb, &errOut)
		}
		for _, kind := range []string{"=STRING", "=INT", "=FLOAT"} {
			if strings.Contains(out.String(), kind) {
				t.Errorf("%s --help has %s", verb, kind)
			}
		}
	}
}
