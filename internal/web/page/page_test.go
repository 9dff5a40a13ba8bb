package page_test

import (
	"net/http"
	"strings"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestNotFound_NamesTheThing(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t).WithPast(), nil)
	for path, want := range map[string]string{
		"/cooks/99":     "Cook 99 is not known here: look at the list it should be in.",
		"/cooks/ninety": "Cook &#34;ninety&#34; is not known here",
		"/probes/nose":  "No probe is called &#34;nose&#34;",
		"/plan/12":      "Plan 12 is not known here",
	} {
		answer, err := server.Client().Get(server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		body := webtest.Body(t, answer)
		if answer.StatusCode != http.StatusNotFound || !strings.Contains(body, want) {
			t.Errorf("%s: %s without %q:\n%s", path, answer.Status, want, body)
		}
	}
}
