package main

import "stallkeeper/internal/licences"

type licencesCmd struct{}

// Help gives an example.
func (licencesCmd) Help() string {
	return "Example:\n\n    stallkeeper licences > licences.txt"
}

// Run prints the licence texts of everything that is built in.
func (licencesCmd) Run(c *console) error { return licences.Write(c.out) }
