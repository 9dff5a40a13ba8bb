package estimator_test

import (
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// A hobbyist's hand log of a 2.0 kg pork shoulder at 110 °C, one reading an hour (uncontrolled; no published source).
const handLog = `time,probe,celsius
2026-05-02T20:00:00Z,core,7.8
2026-05-02T21:00:00Z,core,21.1
2026-05-02T22:00:00Z,core,42.8
2026-05-02T23:00:00Z,core,60.0
2026-05-03T00:00:00Z,core,65.6
2026-05-03T01:00:00Z,core,72.2
`

func Example() {
	rows, err := csv.NewReader(strings.NewReader(handLog)).ReadAll()
	if err != nil {
		panic(err)
	}
	in := estimator.Input{Cut: estimator.PorkShoulder, MassKg: 2.0, Target: 93, SetPoint: 110}
	for _, row := range rows[1:] {
		when, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			panic(err)
		}
		celsius, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			panic(err)
		}
		in.Core = append(in.Core, estimator.Sample{Time: when, Celsius: thermal.Celsius(celsius)})
	}
	in.Started = in.Core[0].Time
	at := in.Core[len(in.Core)-1].Time

	f := estimator.New(estimator.DefaultPrior()).Forecast(in, at)
	early, late := f.Ready[1], f.Ready[5]
	fmt.Println("state:", f.State)
	fmt.Println("ready after now:", early.After(at), "and within a day:", late.Before(at.Add(24*time.Hour)))
	fmt.Println("sure to get there:", f.PNever < 0.1)
	// Output:
	// state: warming
	// ready after now: true and within a day: true
	// sure to get there: true
}
