// Package monitor owns the live state: it applies readings and events in order, asks the pure packages, and gives out
// effects to keep and to send, and a snapshot to show. It reads no clock, starts no goroutine and does no I/O; the same
// readings and events give the same forecasts and alarms. A State belongs to one goroutine and has no locks.
//
// Time. Readings count at their own time. A cook's readings are applied by time, then by probe, whatever the order they
// came in: a reading is held back until every probe that still speaks has spoken at or after its time, at most until one
// is a minute newer, and at most three seconds by the daemon's clock. What comes later still goes into the forecast at
// once, and when such lateness has calmed the monitor asks (Effect.Recount) for the cook's stored readings and counts
// the whole cook again (Counting), beside the live one and a few readings at a time, so that in the end the order of arrival makes no
// difference and no alarm waits for it. A cook that was just started, or that was running before a start, waits until it is counted.
//
// Forecasts. A minute of reading time ends at a whole minute M. When the first reading later than M is applied, the
// forecast of that minute is made from everything at or before M; its "at" is the time of the newest reading applied. It
// equals the forecast from the log of the same readings at that time. Minutes without readings have no forecast; a fast,
// slow or stepped clock skips none. A change to the cook makes one more. When a cook's readings pause for 20 seconds a
// forecast of the newest is made to be shown and published, and not kept.
//
// Alarms. Conditions of pit, piece and probe are observed at each reading's time. Only silence, the intake and the end of
// a shelf use the daemon's clock, as time passed: a stepped clock or a sleep of the machine does not count as silence.
// A message goes out (Alarmed.Notify) only for what is true now: when the readings are less than ten minutes old, or
// have kept the same distance to the daemon's clock for a quarter of an hour (a probe whose clock is off). What an old
// backlog raises is listed, and told later if it still stands when the backlog has caught up.
//
// Overload. Readings that are stored and not applied yet (Await) count as spoken when they are stored, and are judged at their own time when
// they are applied; what they raise is told if they were new when they came in. That readings wait for more than ten minutes is an alarm.
package monitor
