// Package cook is the vocabulary everyone shares: probe, reading, cook, piece, event, and the documented cook log.
//
// A cook log is a folder with cook.json (one Cook) and readings.csv (header "time,probe,celsius"); an export adds checks.csv where a probe failed a check. Times are RFC 3339,
// temperatures Celsius, masses kilograms, thicknesses millimetres. The probe "pit" or "pit/<name>" measures the pit;
// any other name is a piece's probe. Readings may come every second or once an hour by hand, in any order, with gaps,
// spikes and faults; an empty celsius cell is no reading. Of two readings of one probe at one time the first stands.
//
// The package opens no file, starts no goroutine and reads no clock; logs are read from an fs.FS and written to writers.
package cook
