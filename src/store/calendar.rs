//! The events of calendars as they were published: for each reader and site in one note, so that what is
//! taken from a reader can be called off for them alone.

use super::links::{named_note, write_named_note};
use super::{Store, StoreError};
use crate::domain::telling::calendar::{CalendarEvent, CalendarToday, PublishedEvent};
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Connection, params};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Before a recipient's and a site's id: the events that this reader has seen of it.
const EVENTS_OF: &str = "calendar-events-of ";
/// Before a site's id: its events, from when all its readers shared them.
const SHARED_EVENTS: &str = "calendar-events ";
/// What should be in these notes.
const WANTED: &str = "the calendar of a site";

/// The events of a reader's calendar, by the ids of their sites.
pub type EventsOfSites = BTreeMap<String, Vec<PublishedEvent>>;

/// An event as it is stored.
#[derive(Serialize, Deserialize)]
struct StoredEvent {
    id: String,
    species: Option<String>,
    first: NaiveDate,
    last: NaiveDate,
    title: String,
    words: String,
    off: bool,
    sequence: u32,
    changed: DateTime<Utc>,
}

impl Store {
    /// The events that a reader has seen, of every site that their calendar ever showed.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn events_seen_by(&self, recipient: &str) -> Result<EventsOfSites, StoreError> {
        seen_by(&self.connection, recipient)
    }

    /// The events of a site that readers shared, those of them that still stand; none since each has
    /// their own.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn shared_events(
        &self,
        site: &str,
        holds: &CalendarToday,
    ) -> Result<Vec<PublishedEvent>, StoreError> {
        let note = named_note(&self.connection, &format!("{SHARED_EVENTS}{site}"))?;
        let mut events = note.map_or(Ok(Vec::new()), |text| read(&text))?;
        let stands = |id: &String| holds.events.iter().any(|event| event.id == *id);
        events.retain(|one| stands(&one.event.id) || holds.unknown.contains(&one.event.id));
        Ok(events)
    }

    /// Notes what `change` makes of the events that a reader has seen, before they see them.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn publish_events(
        &mut self,
        recipient: &str,
        change: impl FnOnce(EventsOfSites) -> EventsOfSites,
    ) -> Result<EventsOfSites, StoreError> {
        let transaction = self.immediate()?;
        let before = seen_by(&transaction, recipient)?;
        let after = change(before.clone());
        for (site, events) in &after {
            if before.get(site) != Some(events) {
                let stored: Vec<StoredEvent> = events.iter().map(StoredEvent::from).collect();
                let text = serde_json::to_string(&stored).map_err(|error| StoreError::Value {
                    value: error.to_string(),
                    wanted: WANTED,
                })?;
                let name = format!("{EVENTS_OF}{recipient} {site}");
                write_named_note(&transaction, &name, &text)?;
            }
        }
        transaction.commit()?;
        Ok(after)
    }
}

/// The first and the next name after all notes of a reader's events.
fn names_of(recipient: &str) -> [String; 2] {
    // An exclamation mark comes after the space; neither is part of an id.
    [" ", "!"].map(|end| format!("{EVENTS_OF}{recipient}{end}"))
}

/// Forgets what a reader has seen: somebody else has their id now.
pub(super) fn forget_events(connection: &Connection, recipient: &str) -> Result<(), StoreError> {
    let sql = "DELETE FROM note WHERE name >= ?1 AND name < ?2";
    connection.execute(sql, names_of(recipient))?;
    Ok(())
}

fn seen_by(connection: &Connection, recipient: &str) -> Result<EventsOfSites, StoreError> {
    let [first, end] = names_of(recipient);
    let sql = "SELECT substr(name, length(?1) + 1), value FROM note WHERE name >= ?1 AND name < ?2";
    let mut statement = connection.prepare_cached(sql)?;
    let mut rows = statement.query(params![first, end])?;
    let mut seen = BTreeMap::new();
    while let Some(row) = rows.next()? {
        seen.insert(row.get(0)?, read(&row.get::<_, String>(1)?)?);
    }
    Ok(seen)
}

fn read(text: &str) -> Result<Vec<PublishedEvent>, StoreError> {
    let stored: Result<Vec<StoredEvent>, _> = serde_json::from_str(text);
    let stored = stored.map_err(|_| StoreError::Value {
        value: text.to_owned(),
        wanted: WANTED,
    })?;
    Ok(stored.into_iter().map(PublishedEvent::from).collect())
}

impl From<StoredEvent> for PublishedEvent {
    fn from(one: StoredEvent) -> Self {
        Self {
            event: CalendarEvent {
                id: one.id,
                species: one.species,
                first: one.first,
                last: one.last,
                title: one.title,
                words: one.words,
            },
            is_off: one.off,
            sequence: one.sequence,
            changed: one.changed,
        }
    }
}

impl From<&PublishedEvent> for StoredEvent {
    fn from(one: &PublishedEvent) -> Self {
        let event = one.event.clone();
        Self {
            id: event.id,
            species: event.species,
            first: event.first,
            last: event.last,
            title: event.title,
            words: event.words,
            off: one.is_off,
            sequence: one.sequence,
            changed: one.changed,
        }
    }
}
