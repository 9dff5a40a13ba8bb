package sense

import (
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// judgeWires looks for values that no working sensor gives: three of the newest five, or now and then.
func (p *probe) judgeWires() {
	bad := 0
	for _, q := range p.ring[:min(p.seen, ringSize)] {
		if q != cook.Good && q != cook.Stuck {
			bad++
		}
	}
	faulty := bad >= 3 || p.seen < ringSize && bad == p.seen && bad >= 2
	var last mark
	n := 0
	for _, m := range p.quality {
		if m.q != cook.Stuck {
			last, n = m, n+1
		}
	}
	what, do := meaning(last.q)
	p.find(Faulty, faulty, last.at, func() string {
		return fmt.Sprintf("It gives %s: %s. These readings are left out of forecasts and verdicts. %s", degrees(last.c), what, do)
	})
	p.find(Jumpy, !faulty && n >= 2, last.at, func() string {
		return fmt.Sprintf("%d readings within the last two hours cannot be, the last %s: %s. They are left out of forecasts and verdicts. %s", n, degrees(last.c), what, do)
	})
}

// How long a value may stand. Meat in a hot pit rises between the come-up and the stall; what lies elsewhere is believed
// much longer. Choices of this project.
const (
	standsInMeat    = 90 * time.Minute
	standsElsewhere = 4 * time.Hour
	standsReadings  = 30
)

// judgeStanding looks for a value that stands still: as the judge of readings found, or while the pit heats the meat.
// A stall stands between about 55 and 85 °C, and a piece from the cooler takes its time before it begins to warm.
func (p *probe) judgeStanding(pit *probe, minute int64) {
	judged := slices.ContainsFunc(p.ring[:min(p.seen, ringSize)], func(q cook.Quality) bool { return q == cook.Stuck })
	long := p.newest.Sub(p.since)
	heated := false
	if pit != nil && p.place.Piece != "" && p.value > p.lowest+5 && p.value < 55 && p.same >= standsReadings && long >= standsInMeat {
		heated = true
		for m := p.since.Unix() / 60; m <= minute; m += 10 {
			if c, ok := pit.at(m); ok && c < p.value+40 {
				heated = false
			}
		}
	}
	lively := p.changes >= 50 && p.same >= 4*standsReadings && long >= standsElsewhere && p.place.Pit && p.value > 40
	p.find(Stuck, judged || heated || lively, p.since, func() string {
		_, do := meaning(cook.Stuck)
		if judged {
			return fmt.Sprintf("It has shown exactly %s for %s, and was never so still before. These readings are left out. %s", degrees(p.value), when.Span(long), do)
		}
		return fmt.Sprintf("It has shown exactly %s for %s, although it should change. %s", degrees(p.value), when.Span(long), do)
	})
}

// Growing noise: this much rougher than at its quietest, and by more than this. Choices of this project.
const (
	noisier   = 5.0
	noisyOver = 1.0 // K between neighbours
)

// judgeNoise compares the newest readings with the quietest so many before. A pit is as restless as its fire.
func (p *probe) judgeNoise() {
	if p.place.Pit || len(p.rough) < roughness {
		return
	}
	sorted := slices.Sorted(slices.Values(p.rough))
	// A quantised probe has a median of 0, and a jump is no noise: the mean without the largest tenth.
	spread := math.Max(middle(sorted), mean(sorted[:roughness-roughness/10])/2)
	base := p.quiet
	if math.IsNaN(base) || spread < base {
		p.quiet = spread
	}
	p.find(Noisy, !math.IsNaN(base) && spread > noisyOver && spread > noisier*math.Max(base, 0.05), p.newest, func() string {
		return fmt.Sprintf("Its readings scatter by about %.1f K, %.0f times more than they did. Look for a loose plug, a damp or chafed cable, "+
			"or a cable beside mains or an igniter.", spread, spread/math.Max(base, 0.05))
	})
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

func degrees(c float64) string { return fmt.Sprintf("%.1f °C", c) }
