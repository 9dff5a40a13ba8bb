package main

import (
	"context"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"stallkeeper": func() { os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr)) },
	})
}

// Each script is a session at the command line.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", Setup: func(e *testscript.Env) error {
		cooks, err := os.Getwd()
		e.Setenv("COOKS", cooks+"/../../testdata/cooks")
		return err
	}})
}
