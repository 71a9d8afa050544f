"""Reads an iCalendar file with a general library and says its events in JSON."""

import json
import sys

import icalendar

calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
assert calendar["VERSION"] == "2.0" and calendar["PRODID"]
events = []
for event in calendar.events:
    assert not event.errors, event.errors
    events.append(
        {
            "uid": str(event["UID"]),
            "summary": str(event["SUMMARY"]),
            "start": event.start.isoformat(),
            "end": event.end.isoformat(),
            "status": str(event["STATUS"]),
            "sequence": int(event["SEQUENCE"]),
            "stamp": event.stamp.isoformat(),
        }
    )
json.dump(events, sys.stdout)
