package main

import (
	"testing"
	"time"
)

func TestStoppable_StandsOnceStopped(t *testing.T) {
	at := time.Date(2026, 5, 3, 18, 30, 0, 0, time.UTC)
	now, stop := stoppable(func() time.Time { at = at.Add(time.Minute); return at })
	if a, b := now(), now(); !b.After(a) {
		t.Errorf("the clock stands before it is stopped: %v, %v", a, b)
	}
	stop()
	if a, b := now(), now(); !a.Equal(b) {
		t.Errorf("the stopped clock went from %v to %v", a, b)
	}
}
