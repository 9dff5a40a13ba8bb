package daemon

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"stallkeeper/estimator"
)

func TestLearned_NamesTheFileThatCannotBeUsed(t *testing.T) {
	dir := t.TempDir()
	pit := estimator.DefaultPrior()
	pit.Ways[0].Mean["pork_loin"][0].Base += 0.1
	data, err := json.Marshal(pit)
	if err != nil {
		t.Fatal(err)
	}
	good, bad := filepath.Join(dir, "pit.json"), filepath.Join(dir, "bad.json")
	for name, content := range map[string][]byte{good: data, bad: []byte(`{"Names":[]}`)} {
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if p, err := learned(good); err != nil || !reflect.DeepEqual(p, pit) {
		t.Errorf("a kept prior: %v, or another one", err)
	}
	if p, err := learned(""); err != nil || !reflect.DeepEqual(p, estimator.DefaultPrior()) {
		t.Errorf("without a file: %v, or not the shipped prior", err)
	}
	for _, name := range []string{bad, filepath.Join(dir, "none.json")} {
		if _, err := learned(name); err == nil || !strings.Contains(err.Error(), "forecast.prior") || !strings.Contains(err.Error(), filepath.Base(name)) {
			t.Errorf("%s: %v, want an error that names key and file", name, err)
		}
	}
}
