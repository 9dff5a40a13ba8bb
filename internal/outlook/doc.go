// Package outlook stands between the cook as people know it and the forecaster: it makes the forecaster's input from a
// cook and its readings, puts forecasts into the documented JSON line, reads "what if" texts, looks for the cheapest
// action that reaches a serving hour, and says until when nothing needs a person.
//
// The rules here are:
//   - Only readings of quality Good count. A reading counts at its own time: one that the broker had kept, or that came
//     late, counts only if a device or a person timed it, never at the time it happened to arrive.
//   - Readings before the cook's start do not count.
//   - Of several probes of a piece the coldest counts; several pit probes are averaged. A probe that has been silent for
//     five minutes no longer takes part.
//
// Forecasts are statements about temperature and time, never about safety. The package reads no clock, starts no
// goroutine and does no I/O.
package outlook
