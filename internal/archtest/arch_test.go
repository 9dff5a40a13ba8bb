// Package archtest holds the map of the project as a table and fails when the code leaves it. It has tests only.
package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allowed names, for each package, the packages of this module that its shipped code may import.
var allowed = map[string][]string{
	"estimator/thermal":  {},
	"estimator":          {"estimator/thermal"},
	"internal/cook":      {"estimator/thermal"},
	"internal/when":      {},
	"internal/trace":     {"internal/cook", "estimator/thermal"},
	"internal/testrig":   {},
	"internal/alarm":     {"internal/when", "internal/cook", "estimator/thermal"},
	"internal/sense":     {"internal/when", "internal/cook", "estimator/thermal"},
	"internal/safety":    {"internal/when", "internal/cook", "estimator/thermal"},
	"internal/record":    {"internal/when", "internal/cook", "estimator/thermal"},
	"internal/simulate":  {"estimator/thermal"},
	"internal/score":     {"estimator/thermal"},
	"internal/convert":   {"estimator/thermal"},
	"internal/calibrate": {"internal/when", "estimator/thermal"},
	"internal/brine":     {"internal/cook", "estimator/thermal"},
	"internal/larder":    {"internal/cook", "internal/record", "estimator/thermal"},
	"internal/plan":      {"internal/when", "internal/cook", "internal/brine", "estimator", "estimator/thermal"},
	"internal/outlook":   {"internal/when", "internal/cook", "estimator", "estimator/thermal"},
	"internal/monitor":   {"internal/when", "internal/cook", "internal/alarm", "internal/sense", "internal/outlook", "internal/safety", "estimator", "estimator/thermal"},
	"internal/strict":    {},
	"internal/config":    {"internal/strict", "internal/calibrate", "internal/cook", "internal/alarm", "internal/convert", "internal/safety", "estimator/thermal"},
	"internal/ingest":    {"internal/cook", "estimator/thermal"},
	"internal/broker":    {"internal/cook", "internal/ingest"},
	"internal/export":    {"internal/when", "internal/cook", "internal/record", "estimator/thermal"},
	"internal/store":     {"internal/cook", "internal/alarm", "internal/record", "estimator/thermal"},
	"internal/signer":    {"internal/record"},
	"internal/notify":    {"internal/when", "internal/cook", "internal/alarm"},
	"internal/licences":  {},
	"internal/metrics":   {"internal/monitor", "internal/cook", "internal/alarm", "estimator", "estimator/thermal"},

	// The API and the pages do not know each other: what both need is an act of the shop. None of them knows the door.
	"internal/web/problem": {"internal/cook"},
	"internal/web/chart":   {"estimator/thermal"},
	"internal/web/visitor": {"internal/web/problem", "internal/record"},
	"internal/web/shop":    {"internal/web/problem", "internal/monitor", "internal/plan", "internal/brine", "internal/larder", "internal/calibrate", "internal/alarm", "internal/record", "internal/cook", "estimator", "estimator/thermal"},
	"internal/web/api":     {"internal/web/shop", "internal/web/visitor", "internal/web/problem", "internal/monitor", "internal/outlook", "internal/sense", "internal/plan", "internal/brine", "internal/larder", "internal/calibrate", "internal/alarm", "internal/record", "internal/cook", "estimator", "estimator/thermal"},
	"internal/web/page":    {"internal/web/shop", "internal/web/visitor", "internal/web/problem"},
	"internal/web":         {"internal/web/api", "internal/web/page", "internal/web/shop", "internal/web/visitor", "internal/web/problem", "internal/record"},
	"internal/web/webtest": {"internal/web/shop", "internal/web/problem", "internal/monitor", "internal/export", "internal/store", "internal/alarm", "internal/record", "internal/cook", "internal/outlook", "estimator", "estimator/thermal"}, // for tests only

	// The pages' subjects do not know each other; frame, form and curve lie beneath them.
	"internal/web/page/frame":    {"estimator", "estimator/thermal", "internal/alarm", "internal/cook", "internal/monitor", "internal/record", "internal/sense", "internal/web/problem", "internal/web/shop", "internal/web/visitor", "internal/when"},
	"internal/web/page/form":     {"estimator/thermal", "internal/cook", "internal/web/page/frame", "internal/web/problem"},
	"internal/web/page/curve":    {"internal/cook", "internal/monitor", "internal/web/chart", "internal/web/page/frame", "internal/web/shop"},
	"internal/web/page/watch":    {"estimator", "estimator/thermal", "internal/alarm", "internal/cook", "internal/monitor", "internal/outlook", "internal/web/chart", "internal/web/page/curve", "internal/web/page/form", "internal/web/page/frame", "internal/web/problem", "internal/web/shop", "internal/web/visitor", "internal/when"},
	"internal/web/page/cooks":    {"estimator", "internal/cook", "internal/monitor", "internal/outlook", "internal/score", "internal/web/chart", "internal/web/page/curve", "internal/web/page/form", "internal/web/page/frame", "internal/web/problem", "internal/web/shop", "internal/web/visitor", "internal/when"},
	"internal/web/page/lots":     {"internal/when", "internal/brine", "internal/cook", "internal/larder", "internal/monitor", "internal/record", "internal/web/page/form", "internal/web/page/frame", "internal/web/problem", "internal/web/shop", "internal/web/visitor"},
	"internal/web/page/plans":    {"estimator", "internal/brine", "internal/cook", "internal/plan", "internal/web/page/form", "internal/web/page/frame", "internal/web/problem", "internal/web/shop", "internal/web/visitor", "internal/when"},
	"internal/web/page/probes":   {"estimator/thermal", "internal/calibrate", "internal/cook", "internal/monitor", "internal/record", "internal/sense", "internal/web/page/form", "internal/web/page/frame", "internal/web/problem", "internal/web/shop", "internal/web/visitor"},
	"internal/web/page/pagetest": {"internal/web", "internal/web/shop", "internal/web/webtest"}, // for tests only
}

// pure packages open no file, no socket and no database, and start no goroutine.
var pure = []string{"estimator/thermal", "estimator", "internal/cook", "internal/alarm", "internal/safety", "internal/simulate",
	"internal/score", "internal/convert", "internal/calibrate", "internal/sense", "internal/brine", "internal/larder", "internal/plan", "internal/outlook", "internal/monitor", "internal/record", "internal/trace", "internal/when", "internal/strict", "internal/web/chart"}

// forTests are packages that shipped code does not import.
var forTests = []string{"internal/testrig", "internal/trace", "internal/notify/smtptest", "internal/web/webtest", "internal/web/page/pagetest"}

// free packages wire or run things and may import any package of the module.
func free(pkg string) bool { return pkg == "internal/daemon" || strings.HasPrefix(pkg, "cmd/") }

const module = "stallkeeper"

type parsed struct {
	imports []string
	clock   []string // positions where time.Now is named
	starts  []string // positions where a goroutine is started
	inits   []string // positions of init functions
	doc     bool
}

func packages(t *testing.T) map[string]*parsed {
	t.Helper()
	root := "../.."
	out := map[string]*parsed{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		return readFile(out, root, path)
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func readFile(out map[string]*parsed, root, path string) error {
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, nil, parser.ParseComments)
	if err != nil {
		return err
	}
	rel, err := filepath.Rel(root, filepath.Dir(path))
	if err != nil {
		return err
	}
	p := out[filepath.ToSlash(rel)]
	if p == nil {
		p = &parsed{}
		out[filepath.ToSlash(rel)] = p
	}
	p.doc = p.doc || file.Doc != nil
	for _, imp := range file.Imports {
		name, err := strconv.Unquote(imp.Path.Value)
		if err != nil {
			return err
		}
		p.imports = append(p.imports, name)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			p.starts = append(p.starts, set.Position(n.Pos()).String())
		case *ast.FuncDecl:
			if n.Recv == nil && n.Name.Name == "init" {
				p.inits = append(p.inits, set.Position(n.Pos()).String())
			}
		case *ast.SelectorExpr:
			if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && n.Sel.Name == "Now" {
				p.clock = append(p.clock, set.Position(n.Pos()).String())
			}
			if n.Sel.Name == "Go" { // of a wait group or an error group
				p.starts = append(p.starts, set.Position(n.Pos()).String())
			}
		}
		return true
	})
	return nil
}

func TestImports_FollowTheMap(t *testing.T) {
	for name, p := range packages(t) {
		list, known := allowed[name]
		parent := name
		for !known && strings.Contains(parent, "/") { // a private package below another follows its parent's row
			parent = filepath.Dir(parent)
			list, known = allowed[parent]
		}
		if !known && !free(name) {
			t.Errorf("package %s is not in the map: add a row that says what it may import", name)
			continue
		}
		for _, imp := range p.imports {
			own, inside := strings.CutPrefix(imp, module+"/")
			if inside && !free(name) && !slices.Contains(list, own) && !strings.HasPrefix(own, parent+"/") && own != parent {
				t.Errorf("%s imports %s, which the map does not allow", name, own)
			}
			if slices.Contains(forTests, own) && !slices.Contains(forTests, name) {
				t.Errorf("%s imports %s, which is for tests", name, own)
			}
			if slices.Contains(pure, name) && slices.Contains([]string{"os", "os/exec", "os/signal", "syscall", "net", "net/http", "database/sql"}, imp) {
				t.Errorf("%s is pure and imports %s", name, imp)
			}
		}
	}
}

func TestClock_IsReadAtTheEdgeOnly(t *testing.T) {
	for name, p := range packages(t) {
		if !free(name) && len(p.clock) > 0 {
			t.Errorf("%s names time.Now at %v: take the time as an argument", name, p.clock)
		}
	}
}

func TestPure_StartsNoGoroutine(t *testing.T) {
	for name, p := range packages(t) {
		if slices.Contains(pure, name) && len(p.starts) > 0 {
			t.Errorf("%s is pure and starts goroutines at %v", name, p.starts)
		}
	}
}

func TestNothing_HappensBeforeMain(t *testing.T) {
	for name, p := range packages(t) {
		if len(p.inits) > 0 {
			t.Errorf("%s has an init at %v: let whoever needs it call it", name, p.inits)
		}
	}
}

func TestPackages_HaveAContract(t *testing.T) {
	for name, p := range packages(t) {
		if !p.doc {
			t.Errorf("package %s has no package comment", name)
		}
	}
}
