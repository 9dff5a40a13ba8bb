// Package ingest turns MQTT messages into stored readings: it decodes payloads, judges them, and hands them to the store.
//
// Decode (decode.go, number.go, object.go, senml.go, mapping.go) is pure: a topic, a payload and the time of arrival
// give readings or the reason why not. Accepted on stallkeeper/reading/<probe>:
//
//   - a bare number in degrees Celsius, with an optional sign and white space or NUL bytes around it;
//   - a JSON object with the first found of celsius, fahrenheit, ohms, volts, millivolts, raw, and optionally time
//     (RFC 3339, or Unix seconds, or Unix milliseconds from 1e11 on), seq (a whole number from 1 on) and battery_percent
//     (0 to 100, the charge of its battery; alone it is no error); celsius and fahrenheit that mean two temperatures are
//     refused; what was converted is rounded to a millionth of a degree;
//   - a SenML pack (RFC 8428, JSON). Records in Cel and K become readings; one in %EL is the battery's charge;
//     records of other units or without a number are ignored and counted; a pack with neither is quarantined. When all
//     records share one name the topic names the probe, else the probe is <probe>/<name>.
//
// Payloads of another shape are read by Mapping: a topic filter, a name for the probe, JSON Pointers (RFC 6901).
//
// What cannot be a reading goes to quarantine with a plain reason and is acknowledged: empty, no known field, not
// finite, unreadable time, more than ten minutes ahead of the clock, below absolute zero, no conversion, no valid name.
//
// A message is acknowledged only when everything in it is committed (Intake.Handle, done(nil)). An error means that
// nothing was promised: the broker has to deliver the message again. Readings with a device time may therefore come
// twice; the store keeps them once. A number without a time that comes again is a new reading.
//
// Client connects to an outside broker (MQTT 3.1.1, persistent session, acknowledgement after the commit). A broker with
// access rules has to let it read the topics of readings and read and write stallkeeper/sync/<client id>: over that topic
// the client learns where the messages end that waited for it, which tell nothing about now if they carry no time.
// The package starts goroutines only inside Client.Run, which waits for them.
package ingest
