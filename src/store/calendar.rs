//! The events of calendars as they were published, for each site in one note.

use super::links::{named_note, write_named_note};
use super::{Store, StoreError};
use crate::domain::telling::calendar::{CalendarEvent, CalendarToday, PublishedEvent, published};
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::Connection;
use serde::{Deserialize, Serialize};

/// Before a site's id: its events.
const EVENTS: &str = "calendar-events ";
/// What should be in that note.
const WANTED: &str = "the calendar of a site";

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
    /// The events of a site that others have seen.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn published_events(&self, site: &str) -> Result<Vec<PublishedEvent>, StoreError> {
        read(&self.connection, site)
    }

    /// What is published of a site now, written down before anybody sees it.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn publish_events(
        &mut self,
        site: &str,
        holds: CalendarToday,
        today: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<Vec<PublishedEvent>, StoreError> {
        let transaction = self.immediate()?;
        let before = read(&transaction, site)?;
        let events = published(before, holds, today, now);
        let stored: Vec<StoredEvent> = events.iter().map(StoredEvent::from).collect();
        let text = serde_json::to_string(&stored).map_err(|error| StoreError::Value {
            value: error.to_string(),
            wanted: WANTED,
        })?;
        write_named_note(&transaction, &format!("{EVENTS}{site}"), &text)?;
        transaction.commit()?;
        Ok(events)
    }
}

fn read(connection: &Connection, site: &str) -> Result<Vec<PublishedEvent>, StoreError> {
    let Some(text) = named_note(connection, &format!("{EVENTS}{site}"))? else {
        return Ok(Vec::new());
    };
    let stored: Result<Vec<StoredEvent>, _> = serde_json::from_str(&text);
    let stored = stored.map_err(|_| StoreError::Value {
        value: text,
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
