package main

import (
	"fmt"
	"runtime/debug"
)

type versionCmd struct{}

// Help gives an example.
func (versionCmd) Help() string { return "Example: stallkeeper version" }

// Run prints the version that the build knows.
func (versionCmd) Run(c *console) error {
	version := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		version = info.Main.Version
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				version += " " + s.Value
			}
		}
	}
	_, err := fmt.Fprintln(c.out, "stallkeeper", version)
	return err
}
