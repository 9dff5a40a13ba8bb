package visitor

import (
	"net/http/httptest"
	"testing"
)

func TestMay_EachLevelIncludesThoseBefore(t *testing.T) {
	for level, want := range map[Level][3]bool{Watch: {true, false, false}, Work: {true, true, false}, Manage: {true, true, true}, "": {}} {
		v := Visitor{Level: level}
		if got := [3]bool{v.May(Watch), v.May(Work), v.May(Manage)}; got != want {
			t.Errorf("%q may watch, work, manage: %v, want %v", level, got, want)
		}
	}
}

func TestOf_IsNobodyWhereNobodyWasLetIn(t *testing.T) {
	r := httptest.NewRequest("GET", "/", nil)
	if Of(r).May(Watch) || By(r, "KM") != "KM" {
		t.Errorf("a stranger is %+v", Of(r))
	}
	r = r.WithContext(Visitor{Name: "kim", Level: Work}.In(r.Context()))
	if By(r, "somebody else") != "kim" {
		t.Errorf("done by %q, want who is logged in", By(r, "somebody else"))
	}
}

// Names below localhost are loopback by RFC 6761, section 6.3.
func TestLoopbackHost(t *testing.T) {
	for host, want := range map[string]bool{"localhost": true, "LOCALHOST.:8080": true, "pit.localhost": true, "127.0.0.1:80": true, "127.9.9.9": true, "[::1]:443": true, "::1": true,
		"localhost.example.net": false, "192.0.2.7": false, "": false, "0.0.0.0:80": false} {
		if got := LoopbackHost(host); got != want {
			t.Errorf("LoopbackHost(%q) = %v, want %v", host, got, want)
		}
	}
}
