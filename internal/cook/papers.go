package cook

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// KeptPlan is a plan as it was kept: what it was made from, and what came out, in their documented shapes.
type KeptPlan struct {
	ID    int64           `json:"id"`
	Made  time.Time       `json:"made"`
	By    string          `json:"by,omitempty"`
	Name  string          `json:"name,omitempty"`
	Serve time.Time       `json:"serve"`
	Lot   LotID           `json:"lot,omitempty"`
	Cook  ID              `json:"cook,omitempty"`
	Order json.RawMessage `json:"order"`
	Plan  json.RawMessage `json:"plan"`
}

// PlanQuery asks for kept plans, newest first. Zero fields do not narrow.
type PlanQuery struct {
	Lot    LotID
	Cook   ID
	Before int64 // only plans with a smaller number
	Limit  int   // 0 = all
}

// KeptFormulation is a named formulation as it was written. Keeping one under a name that there is keeps a newer version.
type KeptFormulation struct {
	Name  string          `json:"name"`
	Made  time.Time       `json:"made"`
	By    string          `json:"by,omitempty"`
	Sheet json.RawMessage `json:"sheet"`
}

// maxName is the longest name of a formulation, in characters.
const maxName = 60

// CheckName reports a name that is empty, longer than 60 characters, or not plain text without slashes.
func CheckName(name string) error {
	switch {
	case strings.TrimSpace(name) != name || name == "":
		return fmt.Errorf("name %q: give it a name without spaces around it", name)
	case utf8.RuneCountInString(name) > maxName:
		return fmt.Errorf("the name is longer than %d characters: shorten it", maxName)
	case strings.ContainsAny(name, `/\`) || name == "." || name == "..":
		return fmt.Errorf("name %q: leave slashes out, and do not call it by dots alone", name)
	}
	return CheckText("name", name)
}
