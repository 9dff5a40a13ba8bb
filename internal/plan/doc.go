// Package plan works backwards from a serving hour over every stage of the job, from buying the meat to the freezer.
//
// From a request (the time now, the serving hour, the pit, the pieces) and a forecaster it makes steps with stable ids.
// Each step has two times: at, the comfortable one, and latest, after which the serving hour is lost (for chill and
// freeze: after which a food limit is). When the plan cannot be met, at is the soonest that it can be done.
//
// The rules here are:
//   - Times are instants and durations are real time: a cure over the night on which the clocks change lasts its full
//     hours. A time zone serves to show times and to keep handwork out of the night.
//   - Each piece counts as ready at P90 of its forecast; how likely all are ready together is said beside it. A forecast is
//     for planning. Only a measured temperature shows that a limit was met.
//   - Every duration carries its basis: a publication, "from memory", "common practice, no source", or the forecaster.
//   - Cure days are given; nothing here reckons them, least of all from the diffusion of nitrite.
//
// It reads no clock, starts no goroutine and does no I/O: the same request always gives the same plan.
package plan
