package sense

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// What the inside of meat does not do. Moist meat does not get past the boiling point of its water; the rest are choices of
// this project, checked against simulated cooks.
const (
	hottestMeat  = 103.0 // °C
	fastestMeat  = 12.0  // K in five minutes
	handExplains = 15 * time.Minute
	siblingsFar  = 15.0 // K
	siblingsFor  = 30   // minutes
)

func (p *probe) judgeHeat(minute int64) {
	c, ok := p.now(minute)
	p.find(TooHot, ok && c > hottestMeat && !p.has(Swapped), p.newest, func() string {
		return fmt.Sprintf("It reads %s, hotter than meat gets inside: it hangs in the pit's air, or is swapped with the pit's probe. Put it into the thickest part.", degrees(c))
	})
}

// judgeAir looks for a change within five minutes that only air makes. It stands until the probe has been calm for half an hour.
func (p *probe) judgeAir(minute int64) {
	now, ok := p.now(minute)
	before, known := p.at(minute - 5)
	if !ok || !known {
		return
	}
	by := now - before
	fast := math.Abs(by) > fastestMeat && !p.touched(handExplains)
	if fast {
		p.find(OutOfMeat, true, p.newest, func() string {
			return fmt.Sprintf("It changed by %+.0f K within five minutes, to %s; the inside of meat cannot do that. It may have slipped out: put it into the thickest part, "+
				"or log that it was moved.", by, degrees(now))
		})
		return
	}
	if i := slices.IndexFunc(p.found, func(f Finding) bool { return f.Kind == OutOfMeat }); i >= 0 && p.newest.Sub(p.found[i].Since) > 30*time.Minute && p.calm(minute) {
		p.found = slices.Delete(p.found, i, i+1)
	}
}

// calm reports whether no five minutes of the last thirty were faster than meat.
func (p *probe) calm(minute int64) bool {
	for m := minute - 30; m <= minute; m++ {
		a, okA := p.at(m - 5)
		b, okB := p.at(m)
		if okA && okB && math.Abs(b-a) > fastestMeat {
			return false
		}
	}
	return true
}

// How much of a swing of the pit reaches a tip. At the surface of meat some fifth of a swing of twenty minutes arrives
// (heat transfer 20 W/m²K, conductivity 0.5 W/mK), and each 7 mm of depth divides it by e (diffusivity 1.4e-7 m²/s): a
// tenth is a tip within some five millimetres of the surface or of a hole.
const (
	shallowShare = 0.12
	shallowMatch = 0.6 // correlation
	swingsOver   = 5.0 // K, root mean square of the pit's swings
	swing        = 6   // minutes
	swingsSeen   = 60  // minutes looked at, at least

)

// judgeDepth compares the swings of the pit with those of the probe over the last hours.
func (p *probe) judgeDepth(pit *probe, minute int64) {
	if minute%5 != 0 {
		return
	}
	n := 0
	var xx, yy, xy float64
	for m := minute - remember + 2*swing; m <= minute; m++ {
		x, okX := second(pit, m)
		y, okY := second(p, m)
		if !okX || !okY {
			continue
		}
		x, y = min(max(x, -40), 40), min(max(y, -40), 40)
		xx, yy, xy, n = xx+x*x, yy+y*y, xy+x*y, n+1
	}
	if n < swingsSeen || xx < swingsOver*swingsOver*float64(n) {
		if n >= swingsSeen { // a steady pit proves neither
			return
		}
		p.find(Shallow, false, time.Time{}, nil)
		return
	}
	share, match := xy/xx, xy/math.Sqrt(xx*math.Max(yy, 1e-9))
	p.find(Shallow, share > shallowShare && match > shallowMatch && !p.touched(handExplains), p.newest, func() string {
		return fmt.Sprintf("It feels %.0f %% of the pit's swings within minutes: the tip lies just under the surface, in a hole or a pocket of air. "+
			"Push it into the middle of the thickest part, off the bone.", 100*share)
	})
}

// second is the change over the last swing less the change over the one before: a slow rise has none.
func second(p *probe, m int64) (float64, bool) {
	a, okA := p.at(m - 2*swing)
	b, okB := p.at(m - swing)
	c, okC := p.at(m)
	return c - 2*b + a, okA && okB && okC
}

// judgeSiblings compares with the other probes of the piece. The forecast and the verdicts follow the coldest.
func (p *probe) judgeSiblings(list []*probe, minute int64) {
	var other *probe
	gap := 0.0
	for _, q := range list {
		if q == p || q.place.Piece != p.place.Piece {
			continue
		}
		if g, ok := steadyGap(p, q, minute); ok && g > siblingsFar && g > gap {
			other, gap = q, g
		}
	}
	p.find(Apart, other != nil, p.newest, func() string {
		return fmt.Sprintf("For half an hour it has read at least %.0f K more than %s in the same piece. One lies near bone, fat or the surface: "+
			"the colder counts; put this one into the thickest part.", gap, other.id)
	})
}

// steadyGap is the least by which p was hotter than q over the last half hour.
func steadyGap(p, q *probe, minute int64) (float64, bool) {
	least := math.Inf(1)
	for m := minute - siblingsFor; m <= minute; m += 2 {
		a, okA := p.at(m)
		b, okB := q.at(m)
		if !okA || !okB {
			return 0, false
		}
		least = min(least, a-b)
	}
	return least, true
}

// Swapped and colder than the meat: what was seen over the last half hour.
const (
	look      = 30   // minutes
	hotterBy  = 10.0 // K
	airRises  = 20.0 // K in half an hour, faster than meat of any size that takes hours
	meatRises = 8.0
	warms     = 3.0
	falls     = -3.0
)

// judgePit looks whether meat and pit have changed places, or the pit's probe lies where it is not hot.
func judgePit(pit *probe, list []*probe, minute int64) {
	pitNow, ok := pit.now(minute)
	pitThen, known := pit.at(minute - look)
	if !ok || !known {
		return
	}
	var swapped, heated *probe
	for _, p := range list {
		now, okNow := p.now(minute)
		then, okThen := p.at(minute - look)
		if p.place.Piece == "" || !okNow || !okThen {
			continue
		}
		gap, ok := steadyGap(p, pit, minute)
		if !ok {
			gap = 0
		}
		asAir := now-then > airRises && pitNow-pitThen < meatRises && now > pitNow+hotterBy
		above := now > hottestMeat && gap > hotterBy && pitNow < 100
		mixed := asAir || above || p.has(Swapped) && now > pitNow+hotterBy
		p.find(Swapped, mixed && !p.touched(handExplains), p.newest, func() string {
			return fmt.Sprintf("It reads %s and behaves as the pit's air, while %s reads %s and behaves as meat: the two are swapped. Change the plugs, or the names.",
				degrees(now), pit.id, degrees(pitNow))
		})
		if p.has(Swapped) {
			swapped = p
			p.find(TooHot, false, time.Time{}, nil)
		}
		if gap > 5 && now-then > warms && pitNow-pitThen > falls {
			heated = p
		}
	}
	pit.find(Swapped, swapped != nil, pit.newest, func() string {
		return fmt.Sprintf("It behaves as meat, and %s as the pit's air: the two are swapped. Change the plugs, or the names.", swapped.id)
	})
	pit.find(ColdPit, swapped == nil && heated != nil, pit.newest, func() string {
		c, _ := heated.now(minute)
		return fmt.Sprintf("It reads %s, less than the piece at %s (%s) that still warms: it lies in meat, in the shade of a cold piece, or has failed. "+
			"Hang it free beside the meat, at its height.", degrees(pitNow), heated.id, degrees(c))
	})
}
