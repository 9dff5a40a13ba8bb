// Package sense finds out from what probes give whether they measure what they are meant to.
//
// cook.Judge judges each reading as it comes; this package looks at the course of a probe and at its neighbours: values of a
// broken wire that keep coming, jumps now and then, a value that stands still, growing noise, a meat probe that follows the
// pit's air or is hotter than meat can be, a pit probe colder than the meat it heats, probes that are swapped, and probes of
// one piece that are far apart. Each finding says since when, why, and what to do. A finding hides nothing and changes no
// reading: what is left out of forecasts and verdicts is what has another quality than cook.Good, and a finding says how
// many those are.
//
// Not to be known from temperatures: two meat probes swapped with each other, and a single tip near bone or fat in meat
// that warms evenly. Two probes in one piece show it (Apart).
//
// Touched is apart from these: it finds the probe that somebody holds in a hand, to say which is meant.
//
// Watch follows the probes of one cook, or one probe that stands alone. It is pure: the same readings in the same order
// give the same findings; time is the time of readings.
package sense
