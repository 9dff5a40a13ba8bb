package main

import (
	"bytes"
	"context"
	"database/sql"
	"os"
	"strconv"
	"testing"
	"time"

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
	}, Cmds: map[string]func(*testscript.TestScript, bool, []string){"waitfor": waitFor, "sql": runSQL, "mode": checkMode, "replace": replaceIn}})
}

// waitFor waits until a file is there: "waitfor FILE".
func waitFor(ts *testscript.TestScript, _ bool, args []string) {
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
	}
	ts.Fatalf("%s did not appear", args[0])
}

// runSQL changes a database behind the program's back: "sql FILE STATEMENTS".
func runSQL(ts *testscript.TestScript, _ bool, args []string) {
	db, err := sql.Open("sqlite3", ts.MkAbs(args[0]))
	ts.Check(err)
	defer db.Close()
	_, err = db.Exec(args[1])
	ts.Check(err)
}

// checkMode demands the mode of a file: "mode 0600 FILE".
func checkMode(ts *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.ParseUint(args[0], 8, 32)
	ts.Check(err)
	info, err := os.Stat(ts.MkAbs(args[1]))
	ts.Check(err)
	if uint64(info.Mode().Perm()) != want {
		ts.Fatalf("%s has mode %o", args[1], info.Mode().Perm())
	}
}

// replaceIn replaces texts in a file: "replace FILE OLD NEW …".
func replaceIn(ts *testscript.TestScript, _ bool, args []string) {
	data, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	for i := 1; i+1 < len(args); i += 2 {
		data = bytes.ReplaceAll(data, []byte(args[i]), []byte(args[i+1]))
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), data, 0o600))
}
