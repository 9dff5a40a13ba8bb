package licences

import (
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// forTests are the modules of go.mod that tests alone use, and what those need: they are in no binary.
var forTests = []string{"github.com/getkin/kin-openapi", "github.com/google/go-cmp", "github.com/rogpeppe/go-internal", "go.uber.org/goleak",
	"pgregory.net/rapid", "github.com/go-openapi/jsonpointer", "github.com/go-openapi/swag/jsonname", "github.com/kylelemons/godebug",
	"github.com/santhosh-tekuri/jsonschema/v6", "go.yaml.in/yaml/v4", "golang.org/x/tools"}

func TestTexts_OfEveryModuleThatIsLinked(t *testing.T) {
	mod, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`(?m)^\t(\S+) v\S+`).FindAllStringSubmatch(string(mod), -1)
	if len(named) < 20 {
		t.Fatalf("%d modules in go.mod", len(named))
	}
	for _, m := range named {
		files, err := fs.ReadDir(texts, "texts/"+m[1])
		if err != nil && !slices.Contains(forTests, m[1]) {
			t.Errorf("%s has no licence text: put it into texts/%s, or name the module among those for tests", m[1], m[1])
		}
		if len(files) > 0 && slices.Contains(forTests, m[1]) {
			t.Errorf("%s is for tests and has a licence text", m[1])
		}
	}
}

func TestTexts_AreThoseThatStandElsewhere(t *testing.T) {
	for name, elsewhere := range map[string]string{"stallkeeper": "../../LICENSE", "uplot": "../web/page/frame/assets/uplot/LICENSE", "dejavu": "../export/font/LICENSE"} {
		want, err := os.ReadFile(elsewhere)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := texts.ReadFile("texts/" + name + "/LICENSE"); err != nil || string(got) != string(want) {
			t.Errorf("texts/%s/LICENSE is not %s: %v", name, elsewhere, err)
		}
	}
}

func TestWrite_NamesEach(t *testing.T) {
	var out strings.Builder
	if err := Write(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"== go (LICENSE)\n\nCopyright 2009 The Go Authors", "== github.com/prometheus/client_golang (NOTICE)", "== github.com/eclipse/paho.mqtt.golang (edl-v10)"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("lacks %q", want)
		}
	}
}
