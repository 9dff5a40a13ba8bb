// Package broker is the embedded MQTT broker (3.1.1 and 5), made for probes: what it acknowledges is on disk.
//
// A publish on a topic of readings (Options.IsReading) is handed to Options.Consume. PUBACK (QoS 1) or PUBREC (QoS 2)
// goes out when Consume reports the commit, never before, and nobody waits for it meanwhile; then the message goes to
// other subscribers. When the commit fails, the client is disconnected without an acknowledgement and sends again on its next
// connection. When the store is slower than the clients, their connections are read more slowly; nothing is dropped.
// QoS 0 is stored as well as it can be, without a promise. QoS 2 is exactly once as long as the daemon runs; when
// it dies between the commit and the end of the handshake, the message comes again and the store absorbs it if it
// carries a time.
//
// Publishes on other topics pass to other subscribers as they come. The topics of the daemon (stallkeeper/state, alarm, status)
// cannot be published to by clients. Only they are retained: a retain flag of a client is ignored, so that no
// client can fill the memory. Subscriptions are granted at QoS 0: nothing is held for a subscriber that is away, who gets the
// retained state when it is back. (This also keeps clear of a lock order in the underlying library that can stop
// a subscriber for good at higher levels.)
//
// Limits: packets of 64 KiB, a number of clients, sessions, subscriptions per client, bytes under way to the store, to each client
// and to all, ten seconds for the first packet, ten wrong passwords of an address for a name in five minutes. Of too many connections that
// have not logged in the oldest is ended, so that strangers keep nobody out. The log names who was turned away and why, ten lines a minute.
// Whoever may publish readings is believed: on loopback without users that is every program of the machine. Off loopback, New demands
// users and TLS.
//
// Nothing is kept across restarts. The package starts goroutines only inside Run, which waits for them.
package broker
