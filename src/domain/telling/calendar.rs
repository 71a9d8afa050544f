//! Events of a calendar, and how those that were published become those of today: an event keeps its
//! identity, moves with its dates, and is called off where it no longer holds.

use chrono::{DateTime, Days, NaiveDate, Utc};

/// Something in a calendar that takes whole days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalendarEvent {
    /// What it is, the same for as long as it is that: of a site, for example
    /// `2026.japanese-beetle.hatch`.
    pub id: String,
    /// The species it is of, by id, where it is of one alone.
    pub species: Option<String>,
    /// The first day.
    pub first: NaiveDate,
    /// The last day.
    pub last: NaiveDate,
    /// What it says in short.
    pub title: String,
    /// What it says.
    pub words: String,
}

/// An event as others have seen it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublishedEvent {
    /// The event.
    pub event: CalendarEvent,
    /// Whether it was called off.
    pub is_off: bool,
    /// How often its days or its state have changed.
    pub sequence: u32,
    /// When it last changed.
    pub changed: DateTime<Utc>,
}

/// What a day holds of events.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CalendarToday {
    /// The events.
    pub events: Vec<CalendarEvent>,
    /// Ids of events whose days are not known at the moment: if they were published they stay.
    pub unknown: Vec<String>,
}

/// How long an event is shown after its last day.
const KEPT: Days = Days::new(400);

/// How long an event is shown as called off. A choice: programs that look every week have seen it by then,
/// and what somebody is no longer told of is not named to them for long. Its sequence is remembered for as
/// long as any event is.
pub const CALLED_OFF_SHOWN: Days = Days::new(60);

/// The events to publish at an instant of a day: those of today, and those that were published and are
/// none any more. Of these, what is over stays as it was, and what is not is called off.
pub fn published(
    before: Vec<PublishedEvent>,
    holds: CalendarToday,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Vec<PublishedEvent> {
    let mut left = before;
    let mut events: Vec<PublishedEvent> = holds
        .events
        .into_iter()
        .map(|event| {
            let known = left.iter().position(|one| one.event.id == event.id);
            match known.map(|place| left.swap_remove(place)) {
                Some(known) => known.become_one(event, now),
                None => PublishedEvent {
                    event,
                    is_off: false,
                    sequence: 0,
                    changed: now,
                },
            }
        })
        .collect();
    let gone = left
        .into_iter()
        .filter(|one| one.event.last + KEPT >= today)
        .map(|one| match holds.unknown.contains(&one.event.id) {
            true => one,
            false => one.without_ground(today, now),
        });
    events.extend(gone);
    events.sort_by(|a, b| (a.event.first, &a.event.id).cmp(&(b.event.first, &b.event.id)));
    events
}

impl PublishedEvent {
    /// Whether a calendar that is read at an instant holds it.
    pub fn is_shown(&self, now: DateTime<Utc>) -> bool {
        !self.is_off || now < self.changed + CALLED_OFF_SHOWN
    }

    fn become_one(self, event: CalendarEvent, now: DateTime<Utc>) -> Self {
        let days = |of: &CalendarEvent| (of.first, of.last);
        let has_moved = self.is_off || days(&self.event) != days(&event);
        let is_same = !has_moved && self.event == event;
        Self {
            event,
            is_off: false,
            sequence: self.sequence + u32::from(has_moved),
            changed: if is_same { self.changed } else { now },
        }
    }

    fn without_ground(self, today: NaiveDate, now: DateTime<Utc>) -> Self {
        if self.is_off || self.event.last < today {
            return self;
        }
        Self {
            is_off: true,
            sequence: self.sequence + 1,
            changed: now,
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    fn at(text: &str) -> DateTime<Utc> {
        format!("{text}T06:00:00Z").parse().expect("an instant")
    }

    fn hatch(first: &str, last: &str) -> CalendarEvent {
        CalendarEvent {
            id: "2026.beetle.hatch".to_owned(),
            species: Some("beetle".to_owned()),
            first: day(first),
            last: day(last),
            title: "Hatch".to_owned(),
            words: String::new(),
        }
    }

    fn states(events: &[PublishedEvent]) -> Vec<(u32, bool, String)> {
        let state = |one: &PublishedEvent| {
            let changed = one.changed.date_naive().to_string();
            (one.sequence, one.is_off, changed)
        };
        events.iter().map(state).collect()
    }

    fn next(
        before: Vec<PublishedEvent>,
        event: Option<CalendarEvent>,
        on: &str,
    ) -> Vec<PublishedEvent> {
        let holds = CalendarToday {
            events: event.into_iter().collect(),
            unknown: Vec::new(),
        };
        published(before, holds, day(on), at(on))
    }

    #[test]
    fn an_event_moves_is_called_off_and_comes_back_as_the_same_one() {
        let of = |number, is_off, changed: &str| vec![(number, is_off, changed.to_owned())];
        let events = next(
            Vec::new(),
            Some(hatch("2026-07-01", "2026-07-14")),
            "2026-05-01",
        );
        assert_eq!(states(&events), of(0, false, "2026-05-01"));
        // Nothing has changed.
        let events = next(
            events,
            Some(hatch("2026-07-01", "2026-07-14")),
            "2026-05-02",
        );
        assert_eq!(states(&events), of(0, false, "2026-05-01"));
        let events = next(
            events,
            Some(hatch("2026-07-03", "2026-07-14")),
            "2026-05-03",
        );
        assert_eq!(states(&events), of(1, false, "2026-05-03"));
        let events = next(events, None, "2026-05-04");
        assert_eq!(states(&events), of(2, true, "2026-05-04"));
        let events = next(events, None, "2026-05-05");
        assert_eq!(states(&events), of(2, true, "2026-05-04"));
        let events = next(
            events,
            Some(hatch("2026-07-03", "2026-07-14")),
            "2026-05-06",
        );
        assert_eq!(states(&events), of(3, false, "2026-05-06"));
        assert_eq!(events.len(), 1);
    }

    #[test]
    fn what_is_called_off_is_shown_as_such_for_sixty_days_and_comes_back_with_a_higher_sequence() {
        let holds = || Some(hatch("2026-07-01", "2026-07-14"));
        let events = next(Vec::new(), holds(), "2026-05-01");
        assert!(events[0].is_shown(at("2026-12-31")));
        let off = next(events, None, "2026-05-04");
        assert!(off[0].is_shown(at("2026-07-02")));
        assert!(!off[0].is_shown(at("2026-07-03")));
        let back = next(off, holds(), "2026-07-10");
        assert_eq!(states(&back), [(2, false, "2026-07-10".to_owned())]);
        assert!(back[0].is_shown(at("2026-07-10")));
    }

    #[test]
    fn other_words_are_a_change_and_no_new_sequence() {
        let events = next(
            Vec::new(),
            Some(hatch("2026-07-01", "2026-07-14")),
            "2026-05-01",
        );
        let reworded = CalendarEvent {
            words: "In other words.".to_owned(),
            ..hatch("2026-07-01", "2026-07-14")
        };
        let events = next(events, Some(reworded), "2026-05-02");
        assert_eq!(states(&events), [(0, false, "2026-05-02".to_owned())]);
    }

    #[test]
    fn an_event_whose_days_are_not_known_for_now_stays() {
        let events = next(
            Vec::new(),
            Some(hatch("2026-07-01", "2026-07-14")),
            "2026-05-01",
        );
        let holds = CalendarToday {
            events: Vec::new(),
            unknown: vec!["2026.beetle.hatch".to_owned()],
        };
        let on = "2026-05-02";
        assert_eq!(published(events.clone(), holds, day(on), at(on)), events);
    }

    #[test]
    fn what_is_over_stays_for_a_year_and_is_not_called_off() {
        let events = next(
            Vec::new(),
            Some(hatch("2026-07-01", "2026-07-14")),
            "2026-07-14",
        );
        let events = next(events, None, "2026-07-15");
        assert_eq!(states(&events), [(0, false, "2026-07-14".to_owned())]);
        let kept = next(events.clone(), None, "2027-08-18");
        assert_eq!(kept.len(), 1);
        assert_eq!(next(events, None, "2027-08-19"), []);
    }
}
