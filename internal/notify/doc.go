// Package notify carries alarms to people and machines: who is told, when, by which path, and that it gets there.
//
// # Who is told
//
// Core is pure: changes of alarms and the time in, messages out. Each path says for each priority how long an alarm may
// stand unacknowledged before the path is used; together the paths are a ladder (a quiet notice, then a phone, then
// something louder, then a second person). Acknowledging, shelving or the end of the alarm stops the climb. The rules are:
//
//   - Quiet hours of a person hold back what can wait, never a High alarm. What was held comes in one message when they end.
//   - A path that belongs to nobody is a machine (a siren, another program): it has no quiet hours and hears of every end.
//   - That it is over is told once to each person who was told that it began, by the path that told them first; after an
//     acknowledgement it waits for the end of the quiet hours.
//   - That somebody acknowledged it is told only to the others who were told, so that they can stay in bed.
//   - That a path fails is never told by a path that fails.
//   - A message that was sent for a lower priority is sent anew when the alarm becomes more urgent.
//
// # That it gets there
//
// Notifier keeps the core's state and the messages in one transaction (Ledger), then delivers them path by path, oldest
// first, until they are taken: at least once, over restarts, with growing pauses. Message.ID is the same at every try and
// goes out with the message, so that a receiver can drop the repeat that a kill between delivery and its note may cause.
// A message that is refused for itself does not hold up those behind it.
//
// # Browsers
//
// WebPush sends to browsers that people have subscribed (RFC 8030, 8291, 8292). A subscription names the address that the
// daemon then calls, so it counts as what a stranger wrote: only https at port 443 of a named host, only to addresses of
// the internet, no redirect, no proxy, and nothing of the answer is shown.
//
// Nothing here is a safety device, and no path is sure: have a local one (a siren by a command) beside those that need a
// network, and a certified carbon monoxide alarm.
package notify
