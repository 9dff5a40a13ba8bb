package problem

import (
	"errors"
	"fmt"
	"net/http"
	"testing"

	"stallkeeper/internal/cook"
)

func TestOf_NamesWhatWasNotFoundAndNothingElse(t *testing.T) {
	missing := fmt.Errorf("cook 99: %w", cook.ErrNotFound)
	for _, test := range []struct {
		err  error
		want string
	}{
		{missing, "cook 99 is not known here: look at the list it should be in"},
		{fmt.Errorf("read cook from /somewhere: %w", errors.Join(missing, errors.New("rollback failed"))), "cook 99 is not known here: look at the list it should be in"},
		{cook.ErrNotFound, "there is no such thing: look at the list it should be in"},
		{fmt.Errorf("lot x: %w: open it first", cook.ErrNotFound), "there is no such thing: look at the list it should be in"},
	} {
		if got := Of(test.err); got.Status != http.StatusNotFound || got.Detail != test.want {
			t.Errorf("%v became %d %q, want %q", test.err, got.Status, got.Detail, test.want)
		}
	}
}
