// Package station is the probe program between the sensors and the broker: its settings, the measuring, and what is sent.
//
// Every interval each probe is sampled several times; the median becomes a reading, timed at the middle of its sampling.
// A sensor that gives no value is never published as a number: the retained status says what is wrong with it. Readings
// go into the backlog and leave it when the broker has acknowledged them.
package station
