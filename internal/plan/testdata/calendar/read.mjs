// Reads a calendar from standard input with ical.js in its strict mode and prints what it found as JSON.
import ICAL from "ical.js";
import { readFileSync } from "node:fs";

ICAL.design.strict = true;
const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
const events = calendar.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    summary: event.summary,
    description: event.description,
    start: event.startDate.toJSDate().toISOString(),
    end: event.endDate.toJSDate().toISOString(),
    stamp: component.getFirstPropertyValue("dtstamp").toJSDate().toISOString(),
    alarms: component.getAllSubcomponents("valarm").map((alarm) => {
      const trigger = alarm.getFirstPropertyValue("trigger");
      return {
        action: alarm.getFirstPropertyValue("action"),
        before: trigger instanceof ICAL.Duration ? trigger.toSeconds() : null,
        at: trigger instanceof ICAL.Time ? trigger.toJSDate().toISOString() : null,
      };
    }),
  };
});
process.stdout.write(JSON.stringify({ version: calendar.getFirstPropertyValue("version"), events }));
