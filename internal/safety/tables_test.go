package safety

import (
	"strconv"
	"strings"
	"testing"
)

// A second copy of the columns, by hand from the publications, in the unit they print ("m" minutes, "s" seconds).
// Meat: FSIS Appendix A 1999, printed again as Table 2 of FSIS-GD-2021-14 (that the rows are unchanged: from memory).
// Roasts, opened meat, fish, poultry point: Food Code 2022 3-401.11. Chicken, turkey: FSIS-GD-2021-14 Tables 3 and 4; the
// 1 % rows at 137–139 and 141–144 °F and 165 °F are from memory, 160 °F of the 12 % column is the worst case over all poultry.
func TestTables_AgainstASecondCopy(t *testing.T) {
	for _, c := range []struct {
		table Table
		want  string
	}{
		{Meat65(), "130 112m 131 89m 132 71m 133 56m 134 45m 135 36m 136 28m 137 23m 138 18m 139 15m 140 12m 141 9m 142 8m 143 6m 144 5m 145 4m 146 169s 147 134s 148 107s 149 85s 150 67s 151 54s 152 43s 153 34s 154 27s 155 22s 156 17s 157 14s 158 0s"},
		{Meat7(), "130 121m 131 97m 132 77m 133 62m 134 47m 135 37m 136 32m 137 24m 138 19m 139 15m 140 12m 141 10m 142 8m 143 6m 144 5m 145 4m 146 182s 147 144s 148 115s 149 91s 150 72s 151 58s 152 46s 153 37s 154 29s 155 23s 156 19s 157 15s 158 0s"},
		{Roast(), "130 112m 131 89m 133 56m 135 36m 136 28m 138 18m 140 12m 142 8m 144 5m 145 4m 147 134s 149 85s 151 54s 153 34s 155 22s 157 14s 158 0s"},
		{Opened(), "145 3m 150 1m 155 17s 158 0s"},
		{Fish(), "145 15s"},
		{BirdPoint(), "165 0s"},
		{chicken7(true), "136 63.3m 137 50.1m 138 39.7m 139 31.6m 140 25.2m 141 20.1m 142 16.1m 143 13.0m 144 10.4m 145 8.4m 150 2.7m 155 44.2s 160 13.7s 165 10s"},
		{chicken7(false), "136 81.4m 137 65.5m 138 52.9m 139 43m 140 35m 141 28.7m 142 23.7m 143 19.8m 144 16.6m 160 26.9s 165 10s"},
		{turkey7(true), "136 64m 137 51.9m 138 42.2m 139 34.4m 140 28.1m 141 23.0m 142 18.9m 143 15.5m 144 12.8m 145 10.5m 150 3.8m 155 1.2m 160 25.6s 165 10s"},
		{turkey7(false), "165 10s"},
	} {
		words := strings.Fields(c.want)
		if len(words) != 2*len(c.table.Rows) {
			t.Errorf("%s: %d rows, want %d", c.table.Name, len(c.table.Rows), len(words)/2)
			continue
		}
		for i, row := range c.table.Rows {
			f, err := strconv.ParseFloat(words[2*i], 64)
			if err != nil {
				t.Fatal(err)
			}
			n, err := strconv.ParseFloat(strings.TrimRight(words[2*i+1], "ms"), 64)
			if err != nil {
				t.Fatal(err)
			}
			want := seconds(n)
			if strings.HasSuffix(words[2*i+1], "m") {
				want = minutes(n)
			}
			if row.Fahrenheit != f || row.Dwell != want {
				t.Errorf("%s: row %g °F %v, printed %g °F %v", c.table.Name, row.Fahrenheit, row.Dwell, f, want)
			}
		}
	}
}
