package record

import (
	"fmt"
	"strings"
	"time"

	"stallkeeper/internal/when"
)

// Point is one line of how a lot stands. Open means that somebody has something to do or to know.
type Point struct {
	Text string
	Open bool
}

// Standing says what an inspector asks first: deviations, verdicts, reviews, who looked over whose records, late and corrected entries.
func (l *Lot) Standing(in *time.Location) []Point {
	out := []Point{l.deviationsPoint(), l.verdictsPoint()}
	if p := l.uncheckedPoint(); p.Open {
		out = append(out, p)
	}
	out = append(out, l.reviewPoint(in), l.verifiedPoint())
	late, corrected, withdrawn, said := 0, 0, 0, 0
	for _, e := range l.Entries {
		if e.Late() > 0 {
			late++
		}
		switch {
		case e.Kind == KindWithdrawal:
			withdrawn++
		case e.Corrects != 0:
			corrected++
		}
		if e.Auth == AuthSaid {
			said++
		}
	}
	out = append(out, Point{fmt.Sprintf("Of %d entries, %d came more than %d minutes after the event. Corrections of earlier entries: %d. Withdrawals: %d.",
		len(l.Entries), late, int(LateAfter/time.Minute), corrected, withdrawn), false})
	if said > 0 {
		out = append(out, Point{fmt.Sprintf("%d entries bear a name that was only typed in: neither PIN nor login stood behind it, so anybody at the machine may have made them.", said), true})
	}
	return out
}

func (l *Lot) deviationsPoint() Point {
	open := l.OpenDeviations()
	switch {
	case len(l.Deviations) == 0:
		return Point{"No deviation is on record.", false}
	case len(open) == 0:
		return Point{fmt.Sprintf("%s on record, each with its corrective action.", count(len(l.Deviations), "deviation")), false}
	}
	numbers := make([]string, 0, len(open))
	for _, d := range open {
		numbers = append(numbers, fmt.Sprint(d.Seq))
	}
	return Point{fmt.Sprintf("OPEN: %d of %s no corrective action yet (entry %s).", len(open), count(len(l.Deviations), "deviation")+" have", strings.Join(numbers, ", ")), true}
}

func (l *Lot) verdictsPoint() Point {
	n := map[Verdict]int{}
	for _, m := range l.Monitoring {
		n[m.Body.Verdict]++
	}
	if len(l.Monitoring) == 0 {
		return Point{"NOTHING was judged: no entry says that a critical limit was met.", true}
	}
	return Point{fmt.Sprintf("Entries on critical limits: met %d, missed %d, unknown %d. Unknown counts as not met.", n[Met], n[Missed], n[Unknown]), n[Missed]+n[Unknown] > 0}
}

// uncheckedPoint says how many limits count as met on the word of a thermometer that nobody had checked.
func (l *Lot) uncheckedPoint() Point {
	met := 0
	for _, m := range l.Monitoring {
		if m.Body.Verdict == Met && m.Body.Instrument != "" && m.Body.LastCheck == 0 {
			met++
		}
	}
	verb := "rest"
	switch met {
	case 0:
		return Point{}
	case 1:
		verb = "rests"
	}
	return Point{fmt.Sprintf("Of the limits met, %d %s on an instrument that had NO CHECK on record then.", met, verb), true}
}

func (l *Lot) reviewPoint(in *time.Location) Point {
	review, holds := l.Review()
	switch {
	case len(l.Reviews) == 0:
		return Point{"NO pre-shipment review is on record.", true}
	case !holds:
		return Point{"The pre-shipment review is older than the newest entries: the lot is to be REVIEWED AGAIN.", true}
	case !review.Body.Ship:
		return Point{fmt.Sprintf("Pre-shipment review by %s, %s: the lot does NOT leave.", review.By, when.Date(review.At, in)), true}
	}
	return Point{fmt.Sprintf("Pre-shipment review by %s, %s: the lot may leave.", review.By, when.Date(review.At, in)), false}
}

func (l *Lot) verifiedPoint() Point {
	if len(l.Verified) == 0 {
		return Point{"Nobody else has verified how its records were made.", true}
	}
	bad := 0
	for _, v := range l.Verified {
		if !v.Body.Good {
			bad++
		}
	}
	if bad > 0 {
		return Point{fmt.Sprintf("%s on record; %d found something that was NOT as it should be.", count(len(l.Verified), "verification"), bad), true}
	}
	return Point{count(len(l.Verified), "verification") + " on record.", false}
}

// count is a number with its noun: "1 deviation", "2 deviations".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
