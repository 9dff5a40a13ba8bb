// Package estimator forecasts when the core of a piece of meat on a smoker reaches a temperature, through the evaporative
// stall, with an honest band, from samples alone.
//
// # What is forecast
//
// The ready time: the first moment at which the median of the last five minutes' core readings reaches the target. A
// Forecast gives it as quantiles at Levels, with the probability that it does not come within Horizon, the state of the
// piece, one sentence that says why, the spread of the core temperature ahead, and the scenarios themselves. The band
// from the 10 % to the 90 % quantile is meant to hold the truth in 80 of 100 cooks; SCOREBOARD.md says how it did.
//
//	f := estimator.New(estimator.DefaultPrior()).Forecast(input, at)
//
// # The model
//
// A piece is a column of six finite volumes from centre to surface, slab, cylinder, sphere or between, driven by the
// measured pit temperature. Its surface takes heat h(Ta-Ts) and gives off evaporation after the Chilton-Colburn analogy,
// as wet as a film that dries and a crust that lets less through until the water is used up; foil stops that and paper
// slows it, and in foil nothing passes the boiling point at the altitude. This is the reduced form of textbook conduction
// (Incropera et al., ch. 5) with the supply-limited evaporation that food engineering describes (Bengtsson et al. 1976;
// van der Sman 2007). The fifteen free parameters have a normal prior by cut, mass, thickness, setpoint and kind of
// fire, learned from finished cooks (Learn; empirical Bayes), which LearnPit moves to the cooks of one pit. They are
// fitted to the log by damped Gauss-Newton steps under a correlated misfit, the neighbourhood of the best fit is drawn
// after Laplace and weighted by importance, and two hundred draws run ahead under a pit that wanders as it did and sags
// a little, heat transfer and wetness that drift, planned wraps, planned and unplanned setpoints. Most scenarios longer than people let a cook go on (about 29 hours) are drawn anew.
// Where the curve gains pace as only a wrap makes it, draws with a wrap that nobody wrote down take part in proportion
// to how well they explain the log.
//
// # Units
//
// Degrees Celsius, kilograms, millimetres, metres; times are time.Time. A missing number is 0 where the field says so,
// and NaN in results.
//
// # Samples
//
// Samples may come in any order, every second or once an hour, with gaps and repeats. Fault codes (-127, readings no
// probe can have), 85.0 away from its neighbours, and spikes are left out; of several samples within five seconds the
// earliest counts. Core readings hotter than any meat with water in it are taken as air. A probe put in late finds the piece
// as it would be by then, not cold. Without pit readings the setpoint is used and the band widens; without core readings a piece that was
// put on is forecast from what it is and from its pit. A pit that has been far below its setpoint for twenty minutes counts as a
// fire that is out: the scenarios wait for somebody to see to it, the longer the longer it has been so, and Because says it.
// Nothing later than the time asked for is looked at, plans excepted.
//
// # Where it holds
//
// Pieces of roughly 0.5 to 12 kg in dry heat of 90 to 165 °C, from raw to at most the boiling point, wrapped or not. It
// was calibrated on simulated cooks alone: seven cuts, four kinds of fire, 104 to 149 °C. Other cuts start from a prior
// widened from these. Tried by hand outside that, forecasts stay finite and ordered, but: pieces under half a kilogram come later
// than their first forecasts say, in pits of 80 °C the band is hours wide and moves, and a probe that sits halfway to the surface
// makes it hours too early. Bones, frozen pieces, water baths and frying are outside. A forecast never shows that food is
// safe: only a measured temperature, in the thickest part, does.
//
// # Promises
//
// It reads no clock, starts no goroutine and does no I/O: the same samples always give the same forecast. Draws of
// forecasts made at one time for pieces in one pit share the fire index by index, so AllReady, FirstReady and QuietUntil
// are joint statements. An Estimator may be used from several goroutines; a Tracker from one at a time.
package estimator
