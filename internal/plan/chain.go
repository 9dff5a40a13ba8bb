package plan

import (
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
)

const (
	minute = time.Minute
	hour   = time.Hour
	day    = 24 * time.Hour

	practice = "common practice, no source"
	asked    = "as asked for"
	poundKg  = 0.45359237
)

// ids are the steps of a piece up to the serving hour.
func (p Piece) ids() []StepID {
	ids := []StepID{Buy, Thaw, Trim}
	if p.Cure > 0 {
		ids = append(ids, BrineMake, BrineCool, CureStart, CureTurn, CureEnd, Dry)
	}
	return append(ids, Rub, FireLight, SmokeStart, Stall, Wrap, Ready, Rest, Hold, Slice)
}

// chain is what a piece goes through, from the first step that is still open (or was begun last) to the serving hour.
func chain(r Request, p Piece, s smoke, box time.Duration) []stage {
	all := before(p)
	all = append(all, fire(r, p, s)...)
	all = append(all, after(r, p, s, box)...)
	if p.Done == "" {
		return slices.DeleteFunc(all, func(c stage) bool { return c.id == CureTurn })
	}
	order := Steps()
	rank := slices.Index(order, p.Done)
	all = slices.DeleteFunc(all, func(c stage) bool {
		return slices.Index(order, c.id) < rank || c.id == CureTurn && p.Done != CureTurn
	})
	if rank >= slices.Index(order, SmokeStart) { // the meat does not wait for a comfortable hour: it is ready when it is
		for i := range all {
			all[i].follows = all[i].follows || slices.Contains([]StepID{Stall, Wrap, Ready, Rest, Hold}, all[i].id)
		}
	}
	if all[0].id != p.Done { // a stall or wrap that is not expected from cold: count the whole
		all = slices.Insert(all, 0, stage{id: p.Done, comfort: reach(s.p90), least: reach(s.p90)})
	}
	return all
}

// before are the stages from the shop to the fire.
func before(p Piece) []stage {
	pounds := p.MassKg / poundKg
	ahead, keeps := day, "a day in hand: "+practice+"; raw roasts keep 3 to 5 days in the cooler: USDA cold storage chart"
	if perishes(p.Cut) {
		ahead, keeps = 3*hour, "a few hours in hand: "+practice+"; raw poultry keeps 1 to 2 days in the cooler: USDA cold storage chart (fish alike, from memory)"
	}
	stages := []stage{{id: Buy, comfort: ahead, least: hour, byDay: true,
		do:    fmt.Sprintf("Buy the %s, %s; keep it at or below 5 °C (41 °F).", words(p.Cut), kilograms(p.MassKg)),
		late:  "What is bought later comes off the slack of everything after it.",
		basis: keeps}}
	thaw := stage{id: Thaw, byDay: true, do: "Nothing to thaw if it is fresh. Bought frozen, it needs " + span(thawCold(pounds)) + " more in the cooler.",
		late: "Only fresh meat is in time then.", basis: "24 h for each 5 lb in the cooler: from memory"}
	if p.Frozen {
		thaw.comfort, thaw.least = thawCold(pounds), time.Duration(math.Ceil(pounds*30))*minute
		thaw.do = fmt.Sprintf("Thaw in the cooler, at or below 5 °C (41 °F): %s. In cold water, changed every half hour, %s.", span(thaw.comfort), span(thaw.least))
		thaw.late = "Thaw in cold water instead; raw meat must not be above 5 °C (41 °F) for more than 4 h in all."
		thaw.basis = "24 h for each 5 lb, or 30 min a pound in cold water: from memory; limits: Food Code 3-501.13"
	}
	stages = append(stages, thaw)
	trim := stage{id: Trim, comfort: 2 * hour, least: 30 * minute, byDay: true, do: "Trim, and keep the fat for rendering. Weigh the trimmed piece and measure its thickest place.",
		late: "The next step waits: the trimmed weight is what it is reckoned by.", basis: practice}
	rub := stage{id: Rub, comfort: 12 * hour, least: hour, byDay: true, do: "Rub, and leave it uncovered in the cooler.",
		late: "The rest gets shorter; an hour will do, two days do no harm.", basis: "hours to two days: " + practice}
	if p.Cure == 0 {
		return append(stages, trim, rub)
	}
	trim.do += " The trimmed weight is the green weight that the cure is reckoned by."
	return append(append(append(stages, trim), cure(p)...), rub)
}

// perishes reports meat that keeps a day or two raw.
func perishes(c estimator.Cut) bool { return poultry(c) || c == estimator.FishSide }

func poultry(c estimator.Cut) bool {
	return c == estimator.TurkeyBreast || c == estimator.TurkeyWhole || c == estimator.ChickenWhole
}

// thawCold is the time in the cooler: a day for each 5 lb begun.
func thawCold(pounds float64) time.Duration { return time.Duration(math.Ceil(pounds/5)) * day }

func cure(p Piece) []stage {
	soak := time.Duration(math.Round(p.Cure.Hours()/24)) * 2 * minute
	basis := p.CureBasis
	if basis == "" {
		basis = asked
	}
	return []stage{
		{id: BrineMake, comfort: 90 * minute, least: 45 * minute, byDay: true,
			do:    "Weigh everything. Boil and steep the spices half an hour with the salt and sugar, without the curing salt.",
			late:  "Make it with less hot water and more ice, the ice counted as water.",
			basis: practice},
		{id: BrineCool, comfort: 12 * hour, least: hour, follows: true, do: "Cool the brine to 4 °C or below; ice counts as water. Stir the weighed curing salt into the cooled brine.",
			late:  "Cool it with ice that the recipe counts as water. Meat never goes into warm brine.",
			basis: "overnight, or an hour with ice: " + practice},
		{id: CureStart, comfort: p.Cure, least: p.Cure, byDay: true,
			do:    "Put the meat into the cold brine, wholly submerged, with a probe in the cooler: " + days(p.Cure) + " at 2 to 4 °C (36 to 39 °F).",
			late:  "Each day late is a day less cure, or a later serving hour.",
			basis: basis},
		{id: CureTurn, comfort: p.Cure - p.Cure/2, least: p.Cure - p.Cure/2, byDay: true, do: "Turn the meat and stir the brine. Check that it is submerged and the cooler at 4 °C or below.",
			late: "Turn it when you remember; once is enough.", basis: "turn once or twice: a USDA home-pork bulletin (from memory)"},
		{id: CureEnd, comfort: max(hour, soak+30*minute), least: max(30*minute, soak), byDay: true,
			do:    fmt.Sprintf("Take it out, drain and rinse; soak it %s in cold water if it is salty.", span(soak)),
			late:  "A day or two more in the brine does no harm; the drying gets shorter.",
			basis: "soak 2 min for each day in the cure: a USDA home-pork bulletin (from memory)"},
		{id: Dry, comfort: 12 * hour, least: 3 * hour, follows: true, do: "Dry it on a rack in the cooler until it is tacky.",
			late:  "Three hours will do, patted dry first.",
			basis: "at least 3 h: a USDA home-pork bulletin (from memory); overnight: " + practice},
	}
}

// fire are the stages from the lighting to ready.
func fire(r Request, p Piece, s smoke) []stage {
	needs := reach(s.p90)
	put := stage{id: SmokeStart, do: fmt.Sprintf("Put it on at a steady %.0f °C (%.0f °F): %s, as likely as not %s. Probe in the thickest part once the surface is hot.",
		float64(r.Pit), r.Pit.Fahrenheit(), s.band(), span(s.p50)),
		late: "Every hour late here is an hour late at the table, unless it is wrapped or the pit raised.", basis: "the forecaster, ready at its 90 % level"}
	stages := []stage{
		{id: FireLight, comfort: hour, least: 30 * minute, do: fmt.Sprintf("Light the fire and let it settle at %.0f °C (%.0f °F).", float64(r.Pit), r.Pit.Fahrenheit()),
			late: "A pit that has not settled makes the forecast worse; half an hour is the least.", basis: practice},
	}
	if p.Cooking != nil {
		put.id = p.Done
	}
	marks := []stage{put}
	at := []time.Duration{0}
	if s.stall != never && put.id == SmokeStart {
		marks = append(marks, stage{id: Stall, do: fmt.Sprintf("About here it stalls near %.0f °C; a stall of hours is no fault.", float64(stallAt)),
			late: "Nothing to do. If the forecast slips behind the hour, wrap.", basis: "the forecaster, median; 65 to 77 °C: " + practice})
		at = append(at, s.stall)
	}
	if s.wrap != never && put.id != Wrap {
		marks = append(marks, wrapping(p, s))
		at = append(at, s.wrap)
	}
	if len(at) == 3 && at[2] < at[1] {
		marks[1], marks[2], at[1], at[2] = marks[2], marks[1], at[2], at[1]
	}
	at = append(at, max(needs, at[len(at)-1]))
	for i := range marks {
		marks[i].comfort = at[i+1] - at[i]
		marks[i].least = marks[i].comfort
	}
	return append(stages, marks...)
}

func wrapping(p Piece, s smoke) stage {
	w := stage{id: Wrap, late: "Each hour unwrapped in the stall costs most of an hour.", basis: "the forecaster, median"}
	if p.Wrap != nil {
		w.do = fmt.Sprintf("Wrap in %s at about %.0f °C.", p.Wrap.With, float64(p.Wrap.AtCelsius))
		return w
	}
	w.do = "No wrap is planned; this is the reserve."
	if s.foil != nil && s.foil.p90 != never {
		w.do += fmt.Sprintf(" Wrapped in foil at about %.0f °C it is ready after %s.", float64(wrapAt), s.foil.band())
	}
	w.late = "Look at the forecast here: if it slips behind the hour, wrap."
	w.basis = "the forecaster, median; wrap at about 70 °C: " + practice
	return w
}

// band says from when to when it is ready, with four chances in five.
func (s smoke) band() string {
	if s.p90 == never {
		return fmt.Sprintf("%s to more than %s", span(s.p10), span(estimator.Horizon))
	}
	return fmt.Sprintf("%s to %s", span(s.p10), span(s.p90))
}

// after are the stages from ready to the serving hour.
func after(r Request, p Piece, s smoke, box time.Duration) []stage {
	hands := slicing(len(r.Pieces))
	hold := stage{id: Hold, comfort: min(2*hour, box), basis: "the forecaster, nine chances in ten; at or above 60 °C (140 °F): USDA; 57 °C (135 °F): Food Code 3-501.16",
		do:   fmt.Sprintf("Hold it wrapped in an insulated box, at or above 60 °C (140 °F): %s. Measure; the thermometer decides.", boxWords(box)),
		late: "It may wait here; what was late before is caught up here."}
	if early := reach(s.p90) - s.p10 + 3*hour; s.p10 != never && early > box {
		hold.do += " Ready much too early, it waits in an oven or pit at 70 to 80 °C instead."
	}
	return []stage{
		{id: Ready, do: fmt.Sprintf("It has %.0f °C in the thickest part with nine chances in ten.", float64(p.Target)),
			late: "Shorten the hold, then the rest.", basis: "the forecaster, 90 % level"},
		{id: Rest, comfort: hour, least: 30 * minute, do: "Rest it, loosely covered.", late: "Half an hour will do.", basis: practice},
		hold,
		{id: Slice, comfort: hands, least: hands / 2, do: "Slice across the grain, or pull or carve it.", late: "Slice what is served first.", basis: practice},
		{id: Serve, do: "Serve."},
	}
}

// slicing is the comfortable time at the board: 20 minutes a piece, an hour at most. Common practice, no source.
func slicing(pieces int) time.Duration { return min(time.Duration(pieces)*20*minute, hour) }

func boxWords(box time.Duration) string {
	if box == never {
		return "longer than a day by the forecast"
	}
	return "about " + span(box) + " by the forecast"
}
