package frame

import (
	"testing"
)

func TestBackTo_StaysOnThisServer(t *testing.T) {
	for raw, want := range map[string]string{
		"/?piece=1/core": "/?piece=1/core", "": "/", "//evil.invalid/x": "/x", "https://evil.invalid/x?y=1": "/x?y=1",
		"javascript:alert(1)": "/", `/\evil.invalid`: "/",
	} {
		if got := backTo(raw); got != want {
			t.Errorf("backTo(%q) = %q, want %q", raw, got, want)
		}
	}
}
