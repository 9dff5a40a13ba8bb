package safety

import (
	"fmt"
	"os"
	"regexp"
	"testing"
	"time"
)

// TestTemplate_PrintsTheTables reads the cooking table of the HACCP plan template, which people will copy, against the table that verdicts are
// made by.
func TestTemplate_PrintsTheTables(t *testing.T) {
	text, err := os.ReadFile("../../configs/haccp-plan.md")
	if err != nil {
		t.Fatal(err)
	}
	cells := regexp.MustCompile(`\| (1[3-5]\d) \| (at once|\d+ min|\d+ s) \| (at once|\d+ min|\d+ s) \|`).FindAllStringSubmatch(string(text), -1)
	if len(cells) != 10 {
		t.Fatalf("the template prints %d rows of the table, want 10", len(cells))
	}
	for _, c := range cells {
		for i, table := range []Table{Meat65(), Meat7()} {
			if got, want := c[2+i], printed(t, table, c[1]); got != want {
				t.Errorf("%s °F, %s: the template prints %s, the table has %s", c[1], table.Name, got, want)
			}
		}
	}
}

// printed is a row's dwell as the publication prints it: whole minutes to 145 °F, seconds above.
func printed(t *testing.T, table Table, fahrenheit string) string {
	t.Helper()
	for _, row := range table.Rows {
		switch {
		case fmt.Sprint(row.Fahrenheit) != fahrenheit:
		case row.Dwell == 0:
			return "at once"
		case row.Dwell%time.Minute == 0:
			return fmt.Sprintf("%d min", row.Dwell/time.Minute)
		default:
			return fmt.Sprintf("%d s", row.Dwell/time.Second)
		}
	}
	return "no row"
}
