package web

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"stallkeeper/internal/web/webtest"
)

func TestPages_OfferOnlyWhatThePersonMayDo(t *testing.T) {
	n := webtest.NewNight(t).WithPast()
	server := serveNight(t, n, func(o *Options) { o.Users = users(t) })
	for name, want := range map[string]map[string]bool{
		"guest": {"Acknowledge</button>": false, "Log something": false, "Read by hand": false, "It did not happen": false, "End this cook": false, `id="light"`: false, "What if I…": true},
		"mate":  {"Acknowledge</button>": true, "Log something": true, "Read by hand": true, "It did not happen": true, "End this cook": false, `id="light"`: false},
		"boss":  {"Acknowledge</button>": true, "End this cook": true, `id="light"`: true},
	} {
		var all strings.Builder
		for _, path := range []string{"/?piece=7/flat", "/cooks/7", "/probes", "/start"} {
			req, err := http.NewRequest(http.MethodGet, server.URL+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			req.SetBasicAuth(name, password)
			answer, err := server.Client().Do(req)
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if err != nil || answer.StatusCode != http.StatusOK {
				t.Fatalf("%s %s: %s, %v", name, path, answer.Status, err)
			}
			all.WriteString(string(body))
		}
		for text, offered := range want {
			if strings.Contains(all.String(), text) != offered {
				t.Errorf("%s: %q offered %v, want %v", name, text, !offered, offered)
			}
		}
	}
}
