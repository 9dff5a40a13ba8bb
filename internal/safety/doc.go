// Package safety judges measured time and temperature against published food-safety limits; never a forecast.
//
// The rules here are:
//   - Tables are keyed in °F as they were printed. A reading in Celsius is converted and falls to the row below; nothing is
//     interpolated upward.
//   - The instrument's error is taken off every reading that must be hot and added to every reading that must be cold.
//   - Time counts only between two readings that both satisfy the limit and are no further apart than the longest gap
//     allowed. A longer interval is unknown, and a verdict that needs it is Unknown, never Met.
//   - Of several probes in a piece the coldest counts for cooking and the warmest for cooling: each probe is judged by
//     itself and the worst verdict stands.
//   - The come-up clock sums all time in its window until the table is met: a fall below the window does not reset it. The
//     cooling clock starts at the last moment at or above its start; a bump resets it only if it cooks the piece again.
//   - A probe that plainly hangs in the air (a fall of 20 °C or more at 5 °C a minute, or in one step) no longer measures the
//     piece: what follows is unknown, and the verdict says so. Choice of this project (common practice, no source).
//   - The lethality integral is an advisory beside the table. One that is not reached counts as a finding all the same.
//   - A gap hides what may have happened in it: a cooling behind one is unknown, unless the piece was surely at 165 °F again since.
//   - A cooler may be outside its range for as long as a door is open (by the median of five readings); longer is missed, and hours
//     without readings are unknown.
//   - The live clocks (Cooking, Chilling, Keeping) take one reading at a time and agree with the verdicts on the whole trace.
//   - A shop's own limits are at least as strict as the published ones. Growth is an advisory and relaxes nothing.
//   - Improbable readings are left out and the exclusion is said.
//   - What was not measured is not judged: a rule whose stage is not in the log gives no verdict.
//
// A verdict names the published table or rule. Check the current edition and the local code; a licensed authority decides.
// The package imports no forecaster, opens no file and reads no clock.
package safety
