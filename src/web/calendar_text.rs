//! Events as an iCalendar file (RFC 5545). Pure.

use crate::domain::telling::calendar::PublishedEvent;
use crate::report::calendar::CALLED_OFF;
use chrono::{DateTime, NaiveDate, Utc};

/// Longest line, bytes without its end (RFC 5545, 3.1).
const LINE_BYTES: usize = 75;

/// How often a program should look for changes.
const LOOK_EVERY: &str = "PT6H";

/// A calendar file under way.
pub(super) struct CalendarText {
    text: String,
    install: String,
}

impl CalendarText {
    /// A calendar with a name, of the database with this id.
    pub fn new(name: &str, install: &str) -> Self {
        let mut calendar = Self {
            text: String::new(),
            install: install.to_owned(),
        };
        calendar.line("BEGIN:VCALENDAR");
        calendar.line("VERSION:2.0");
        calendar.line("PRODID:-//hatchbell//hatchbell//EN");
        calendar.line("CALSCALE:GREGORIAN");
        calendar.line(&format!("NAME:{}", escaped(name)));
        calendar.line(&format!("X-WR-CALNAME:{}", escaped(name)));
        calendar.line(&format!("REFRESH-INTERVAL;VALUE=DURATION:{LOOK_EVERY}"));
        calendar.line(&format!("X-PUBLISHED-TTL:{LOOK_EVERY}"));
        calendar
    }

    /// Adds an event of a site.
    pub fn event(&mut self, site: &str, published: &PublishedEvent) {
        let PublishedEvent {
            event,
            is_off,
            sequence,
            changed,
        } = published;
        let state = if *is_off { "CANCELLED" } else { "CONFIRMED" };
        // The day after the last one.
        let end = event.last.succ_opt().unwrap_or(event.last);
        let uid = format!("{}.{site}@{}.hatchbell", event.id, self.install);
        self.line("BEGIN:VEVENT");
        self.line(&format!("UID:{}", escaped(&uid)));
        self.line(&format!("DTSTAMP:{}", instant(*changed)));
        self.line(&format!("LAST-MODIFIED:{}", instant(*changed)));
        self.line(&format!("SEQUENCE:{sequence}"));
        self.line(&format!("STATUS:{state}"));
        self.line(&format!("DTSTART;VALUE=DATE:{}", day(event.first)));
        self.line(&format!("DTEND;VALUE=DATE:{}", day(end)));
        let title = match is_off {
            true => format!("{CALLED_OFF}: {}", event.title),
            false => event.title.clone(),
        };
        self.line(&format!("SUMMARY:{}", escaped(&title)));
        self.line(&format!("DESCRIPTION:{}", escaped(&event.words)));
        self.line("TRANSP:TRANSPARENT");
        self.line("END:VEVENT");
    }

    /// The whole file.
    pub fn finish(mut self) -> String {
        self.line("END:VCALENDAR");
        self.text
    }

    /// Adds a line, folded where it is too long, between two letters.
    fn line(&mut self, line: &str) {
        let mut length = 0;
        for letter in line.chars() {
            if length + letter.len_utf8() > LINE_BYTES {
                self.text.push_str("\r\n ");
                length = 1;
            }
            self.text.push(letter);
            length += letter.len_utf8();
        }
        self.text.push_str("\r\n");
    }
}

fn day(day: NaiveDate) -> String {
    day.format("%Y%m%d").to_string()
}

fn instant(instant: DateTime<Utc>) -> String {
    instant.format("%Y%m%dT%H%M%SZ").to_string()
}

/// A text as a value (RFC 5545, 3.3.11); control characters are left out.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\\' | ';' | ',' => {
                escaped.push('\\');
                escaped.push(letter);
            }
            '\n' => escaped.push_str("\\n"),
            letter if letter.is_control() => {}
            letter => escaped.push(letter),
        }
    }
    escaped
}
