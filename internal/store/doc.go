// Package store keeps readings, cooks, forecasts, alarms and the records' journal in one SQLite file, and says exactly what survives a power cut.
//
// # What is promised
//
// When Done of an Item is called without an error, and when a method that writes returns nil, the data is in the
// write-ahead log and the log has been flushed to the disk (synchronous=FULL). It survives a kill and a power cut, as far as the disk
// does what it says. Before that nothing is promised: whoever sent a reading must send it again, and what was in doubt
// may then turn out to be there already (Duplicate). Readings that carry a time are there once however often and in
// whatever order they come. Arrival-timed readings are new each time they are put.
//
// When a commit fails (disk full, I/O error) nothing of its batch is promised and every Done of it gets the error; the next batch is
// tried as if nothing had happened, and Trouble tells the reason until one succeeds; while nothing comes in, a small write
// is tried every five seconds. A reading or payload that cannot be stored for a reason of its own goes to the quarantine
// and does not hold up its neighbours; the newest 100,000 of them are kept, 64 MiB at most.
//
// A file named reserve keeps 4 MiB of the disk back where there is room. When a write meets a full disk it is given up, so that alarms can
// still be kept and told; Scarce says so until there is room again.
//
// # How it is kept
//
// One connection writes, a pool of four reads; the journal is a write-ahead log, so readers and the writer do not wait for
// each other. Run gathers readings for Options.Linger and commits them together. A commit writes a page of the log for each probe in it, so
// a longer linger spares an SD card: eight probes at a reading a second write some 7 GB a day committed one by one, 1 GB
// at ten seconds of linger, for a database that grows by 44 MB (BenchmarkLog, BenchmarkDay). One process at a time opens the
// file for writing (a lock on the file beside it named .lock says so); Backup works beside it.
//
// Before anything is written, opening looks at the file: a foreign or damaged file and one of a newer version are refused and left as
// they are. The search for damage ends after five seconds, so on a large file it covers only a part.
//
// # Schema, version 4
//
// Times are INTEGER microseconds since 1970-01-01 UTC; temperatures REAL degrees Celsius. Tables are STRICT. PRAGMA
// application_id is 0x53544b50 ("STKP"), PRAGMA user_version the schema's version.
//
//	probes         id, name: every probe ever heard
//	readings       probe, time, seq (1, 2, 3, ... in the order of commits), celsius,
//	               quality 0 good 1 power-up 2 disconnected 3 out-of-range 4 spike 5 stuck 6 suspect,
//	               clock 0 device 1 arrival 2 hand, retained and backlog 0 or 1,
//	               delay (arrival minus time; null = unknown), device_seq (0 = none), raw (null = was Celsius);
//	               primary key (probe, time): kept in that order, so that one probe's night is read in one go
//	quarantine     id, time, topic, payload, reason
//	cooks          id, created, started, ended (null = running), body (cook.json as it was when started, without events)
//	entries        id, cook, time, kind, piece, material, celsius, logged, corrects, withdraw, who, note
//	amendments     id, cook, time, body (JSON)
//	forecasts      cook, piece, at, json (the documented forecast line)
//	alarms         alarm, state, body (JSON): the latest state of each
//	alarm_changes  id, alarm, state, changed, body (JSON): every state it had
//	kept           key, value: small things to be remembered over a restart
//	to_tell        id, body (JSON): changes of alarms of which nobody has been told yet; deleted with the messages' keeping
//	journal        seq, lot, kind, at, entered, who, auth, body (canonical JSON), corrects, reason, prev, hash: see internal/record
//	seals          seq, probe, hour (its start), count, min, max, digest, through, made, replaces, prev, hash: what the readings of an hour were
//	checkpoints    id, at, seq, head, seal, seals, public, signature: signed heads of both chains
//	outbox         id, made, path, body (JSON), tries, failing (since; null = not), error, done (null = waits); 90 days after done deleted
//	plans          id, made, who, name, serve, lot ('' = none), cook (0 = none), wish (the order, JSON), plan (JSON)
//	formulations   id, made, who, name, sheet (JSON; null = dropped): the newest of a name is the one
//
// Rows of readings, entries, amendments, alarm_changes, journal, seals and checkpoints are never changed or deleted; triggers refuse it,
// and let the journal and the seals grow at their end only.
//
// A new version of the schema is a new file in migrations, numbered without a gap. Each is applied in a transaction of
// its own, after a backup of an existing file beside it ("….schema-1.20260502T180000Z.backup").
package store
