package main

import "runtime/debug"

type versionCmd struct {
	JSON bool `help:"Print JSON."`
}

// Help gives an example.
func (versionCmd) Help() string { return "Example:\n\n    stallkeeper version" }

// Run prints the version that the build knows.
func (v versionCmd) Run(c *console) error {
	version := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		version = info.Main.Version
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				version += " " + s.Value
			}
		}
	}
	return show(c, v.JSON, map[string]string{"version": version}, "stallkeeper "+version)
}
