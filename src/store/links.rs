//! What links without a sign-in rest on: the secret of their keys, the editions of calendars, and
//! whose mail is stopped.

use super::calendar::forget_events;
use super::{Store, StoreError, understood};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};
use std::collections::HashMap;

/// The secret of all keys.
const SECRET: &str = "link-secret";
/// Before a recipient's id: how often their calendar was given an address, and whose they are.
const CALENDAR: &str = "calendar-of ";
/// Before a recipient's id: since when their mail is stopped, and to which address it went.
const STOPPED: &str = "mail-stopped ";

/// The address that a recipient's calendar has now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CalendarEdition {
    /// How often it was given one.
    pub edition: u32,
    /// Whether it can be read under it.
    pub is_open: bool,
    /// The member whose recipient this was.
    pub member: String,
}

/// A recipient's wish to get no more mail that is not urgent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailStop {
    /// Since when.
    pub since: DateTime<Utc>,
    /// The address it was said for: another one gets mail again.
    pub address: String,
}

/// What a link to a task needs to know of the message that it came with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessageOfTask {
    /// Recipient id.
    pub recipient: String,
    /// Id of the member whose recipient it was meant for, if that was written down.
    pub member: Option<String>,
    /// When it was written.
    pub created_at: DateTime<Utc>,
    /// Site ids.
    pub places: Vec<String>,
}

impl Store {
    /// The secret of links, if there is one.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn link_secret(&self) -> Result<Option<String>, StoreError> {
        named_note(&self.connection, SECRET)
    }

    /// The secret of links; this one if there is none yet.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn link_secret_or(&self, new: &str) -> Result<String, StoreError> {
        self.connection.execute(
            "INSERT INTO note (name, value) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            [SECRET, new],
        )?;
        Ok(self.link_secret()?.unwrap_or_else(|| new.to_owned()))
    }

    /// The edition of a recipient's calendar; `None` if it never had an address.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn calendar_edition(&self, recipient: &str) -> Result<Option<CalendarEdition>, StoreError> {
        let Some(text) = named_note(&self.connection, &format!("{CALENDAR}{recipient}"))? else {
            return Ok(None);
        };
        let read = |text: &str| {
            let mut parts = text.splitn(3, ' ');
            Some(CalendarEdition {
                edition: parts.next()?.parse().ok()?,
                is_open: parts.next()? == "open",
                member: parts.next()?.to_owned(),
            })
        };
        understood(&text, "the edition of a calendar", read).map(Some)
    }

    /// Notes the edition of a recipient's calendar. What another member's recipient of this id has seen is
    /// forgotten.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_calendar_edition(
        &self,
        recipient: &str,
        one: &CalendarEdition,
    ) -> Result<(), StoreError> {
        let before = self.calendar_edition(recipient)?;
        if before.is_some_and(|before| before.member != one.member) {
            forget_events(&self.connection, recipient)?;
        }
        let state = if one.is_open { "open" } else { "closed" };
        let text = format!("{} {state} {}", one.edition, one.member);
        write_named_note(&self.connection, &format!("{CALENDAR}{recipient}"), &text)
    }

    /// Whose mail is stopped, by recipient id.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn mail_stops(&self) -> Result<HashMap<String, MailStop>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT substr(name, length(?1) + 1), value FROM note
             WHERE substr(name, 1, length(?1)) = ?1",
        )?;
        let rows = statement.query_map([STOPPED], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))
        })?;
        let mut stops = HashMap::new();
        for row in rows {
            let (recipient, text) = row?;
            stops.insert(recipient, understood(&text, "a mail stop", mail_stop)?);
        }
        Ok(stops)
    }

    /// Notes that a recipient's mail is stopped, or no longer. Stopped twice it stays as it was.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_mail_stop(
        &self,
        recipient: &str,
        stop: Option<&MailStop>,
    ) -> Result<(), StoreError> {
        let name = format!("{STOPPED}{recipient}");
        let Some(stop) = stop else {
            let sql = "DELETE FROM note WHERE name = ?1";
            self.connection.execute(sql, [name])?;
            return Ok(());
        };
        let known = self.mail_stops()?.remove(recipient);
        if known.is_none_or(|known| known.address != stop.address) {
            let text = format!("{} {}", stop.since.to_rfc3339(), stop.address);
            write_named_note(&self.connection, &name, &text)?;
        }
        Ok(())
    }

    /// Gives up a message whose recipient has stopped it.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn give_up_stopped(&self, number: i64, why: &str) -> Result<(), StoreError> {
        self.connection.execute(
            "UPDATE outbox SET state = 'given-up', last_error = ?2
             WHERE id = ?1 AND state = 'waiting'",
            params![number, why],
        )?;
        Ok(())
    }

    /// A message by its id.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn message_of_task(&self, id: &str) -> Result<Option<MessageOfTask>, StoreError> {
        let sql = "SELECT recipient, member, created_at, places FROM outbox WHERE message_id = ?1";
        let found = self.connection.query_row(sql, [id], |row| {
            let places: String = row.get(3)?;
            Ok(MessageOfTask {
                recipient: row.get(0)?,
                member: row.get(1)?,
                created_at: row.get(2)?,
                places: places.split_whitespace().map(str::to_owned).collect(),
            })
        });
        Ok(found.optional()?)
    }
}

pub(super) fn named_note(
    connection: &Connection,
    name: &str,
) -> Result<Option<String>, StoreError> {
    let sql = "SELECT value FROM note WHERE name = ?1";
    let found = connection.query_row(sql, [name], |row| row.get(0));
    Ok(found.optional()?)
}

pub(super) fn write_named_note(
    connection: &Connection,
    name: &str,
    value: &str,
) -> Result<(), StoreError> {
    connection.execute(
        "INSERT INTO note (name, value) VALUES (?1, ?2)
         ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        [name, value],
    )?;
    Ok(())
}

fn mail_stop(text: &str) -> Option<MailStop> {
    let (since, address) = text.split_once(' ')?;
    Some(MailStop {
        since: DateTime::parse_from_rfc3339(since).ok()?.to_utc(),
        address: address.to_owned(),
    })
}
