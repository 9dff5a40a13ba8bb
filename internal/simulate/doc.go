// Package simulate makes invented cooks: pit, fire, pieces and probes, from a finer model than any forecaster here uses.
//
// From a Scenario (and its seed) a Run gives, step by step and in time order, what the probes would have read and what
// was done. The same scenario always gives the same cook.
//
// A piece is a squat round body of the given mass and thickness, cut into axisymmetric finite volumes that are finer
// towards the surface. Each volume has a temperature, water and fat. Heat is conducted; proteins that have been hot hold
// less water; the juice they let go seeps outwards; at the surface a film of water evaporates into the pit air
// (psychrometrics, with the humidity that fire and meat make themselves), drips, or is held in by a wrap. The stall is
// nowhere put in: it comes out where the juice arriving at the surface carries off the heat arriving from the pit. The pit
// is air and walls heated by a fire of one of four kinds, each with its own way of being fed and regulated. Probes lag,
// are off centre, off the truth, noisy, coarse, and sometimes silent or absurd.
//
// Cool lets a piece cool after its cook, in air or in water, by the same body without the pit.
//
// It imports nothing of the forecaster but units, and shares no equation with it on purpose: a forecaster judged on its
// own equations flatters itself. Constants stand beside their source; many are choices of this project without one, and
// say so. Whatever rests on these cooks must be called simulated. The model leaves out bones, cavities, fat caps, seams
// between muscles and the unevenness of real pits.
//
// Units are SI with degrees Celsius. The package reads no clock, starts no goroutine and does no I/O.
package simulate
