//! Browsers in which recipients have turned notices on, and the key by which push services know this
//! service.
//!
//! Each browser has messages of its own in the outbox. When it takes no more, those that wait go to
//! another of the recipient's, unless that has the same ones already.

use super::links::{named_note, write_named_note};
use super::outbox::{Draft, insert};
use super::page_keys::KeyOwner;
use super::{Store, StoreError};
use crate::domain::place::site::Channel;
use crate::key::KeyHash;
use crate::secret::Secret;
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, Row, params};

/// The key for push services: its private and its public part.
const PRIVATE_KEY: &str = "web-push-private-key";
const PUBLIC_KEY: &str = "web-push-public-key";

/// Browsers of a recipient.
pub const MOST_BROWSERS: u32 = 10;

/// What a browser says of itself. Whoever has its address can send to it.
#[derive(Debug, Clone)]
pub struct BrowserSaid {
    /// Its address at a push service.
    pub endpoint: Secret,
    /// Its public key, base64url.
    pub key: String,
    /// Its authentication secret, base64url.
    pub auth: Secret,
}

/// A browser that takes notices.
#[derive(Debug, Clone)]
pub struct Browser {
    /// Its number.
    pub number: i64,
    /// Whose notices it takes.
    pub owner: KeyOwner,
    /// Where and how.
    pub said: BrowserSaid,
    /// What its owner calls it.
    pub label: String,
    /// Since when.
    pub made_at: DateTime<Utc>,
}

/// A browser in which notices are turned on.
#[derive(Debug, Clone, Copy)]
pub struct NewBrowser<'n> {
    /// Whose notices it takes.
    pub owner: &'n KeyOwner,
    /// The session in which they are turned on: they end with it.
    pub session: &'n KeyHash,
    /// Where and how.
    pub said: &'n BrowserSaid,
    /// What its owner calls it.
    pub label: &'n str,
    /// When.
    pub now: DateTime<Utc>,
}

impl Store {
    /// The private part of the key for push services, if there is one.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn web_push_private_key(&self) -> Result<Option<Secret>, StoreError> {
        Ok(named_note(&self.connection, PRIVATE_KEY)?.map(Secret::new))
    }

    /// Its public part, which browsers are told.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn web_push_public_key(&self) -> Result<Option<String>, StoreError> {
        named_note(&self.connection, PUBLIC_KEY)
    }

    /// Keeps a key for push services, unless there is one.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn keep_web_push_key(&mut self, private: &Secret, public: &str) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        if named_note(&transaction, PRIVATE_KEY)?.is_none() {
            write_named_note(&transaction, PRIVATE_KEY, private.expose())?;
            write_named_note(&transaction, PUBLIC_KEY, public)?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// Every browser that takes notices, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn browsers(&self) -> Result<Vec<Browser>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM web_push_browser ORDER BY id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rows = statement.query_map([], browser)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// One by its number, if it takes notices.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn browser(&self, number: i64) -> Result<Option<Browser>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM web_push_browser WHERE id = ?1");
        let mut statement = self.connection.prepare_cached(&sql)?;
        Ok(statement.query_row([number], browser).optional()?)
    }

    /// Those of a recipient.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn browsers_of(&self, owner: &KeyOwner) -> Result<Vec<Browser>, StoreError> {
        let mut all = self.browsers()?;
        all.retain(|one| one.owner == *owner);
        Ok(all)
    }

    /// Keeps a browser; one that is known already is its new owner's from now on. It gets what waits for
    /// a browser of its owner. Says whether there was room for it.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn keep_browser(&mut self, new: &NewBrowser<'_>) -> Result<bool, StoreError> {
        let transaction = self.immediate()?;
        let known = "SELECT id FROM web_push_browser WHERE endpoint = ?1";
        let known = transaction.query_row(known, [new.said.endpoint.expose()], |row| row.get(0));
        if let Some(number) = known.optional()? {
            end(&transaction, number, new.now)?;
        }
        let whose = params![new.owner.recipient, new.owner.member];
        let count = "SELECT count(*) FROM web_push_browser WHERE recipient = ?1 AND member = ?2";
        let count: u32 = transaction.query_row(count, whose, |row| row.get(0))?;
        if count >= MOST_BROWSERS {
            return Ok(false);
        }
        transaction.execute(
            "INSERT INTO web_push_browser
                 (recipient, member, endpoint, public_key, auth, label, session, made_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            params![
                new.owner.recipient,
                new.owner.member,
                new.said.endpoint.expose(),
                new.said.key,
                new.said.auth.expose(),
                new.label,
                new.session.text(),
                new.now
            ],
        )?;
        transaction.execute(
            "UPDATE outbox SET browser = ?1, next_try_at = ?5
             WHERE state = 'waiting' AND channel = ?2 AND browser IS NULL
               AND recipient = ?3 AND member IS ?4",
            params![
                transaction.last_insert_rowid(),
                Channel::WebPush.name(),
                new.owner.recipient,
                new.owner.member,
                new.now
            ],
        )?;
        transaction.commit()?;
        Ok(true)
    }

    /// Ends the notices of a browser, if it is this owner's. Says whether it was.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn end_browser(
        &mut self,
        number: i64,
        owner: &KeyOwner,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let transaction = self.immediate()?;
        let theirs = "SELECT count(*) FROM web_push_browser
                      WHERE id = ?1 AND recipient = ?2 AND member = ?3";
        let theirs = transaction.query_row(
            theirs,
            params![number, owner.recipient, owner.member],
            |row| row.get::<_, i64>(0),
        )? == 1;
        if theirs {
            end(&transaction, number, now)?;
        }
        transaction.commit()?;
        Ok(theirs)
    }

    /// Forgets a browser that takes no more notices, with the messages that say so. Says whether it was
    /// known: it is told of once.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn forget_browser(
        &mut self,
        number: i64,
        drafts: &[Draft<'_>],
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let transaction = self.immediate()?;
        let known = end(&transaction, number, now)?;
        if known {
            for draft in drafts {
                insert(&transaction, draft, now)?;
            }
        }
        transaction.commit()?;
        Ok(known)
    }

    /// Drops a message for a browser whose recipient has none, and gets the same by another way.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn drop_for_no_browser(&self, number: i64) -> Result<(), StoreError> {
        let sql = "DELETE FROM outbox WHERE id = ?1 AND state = 'waiting' AND channel = ?2";
        self.connection
            .execute(sql, params![number, Channel::WebPush.name()])?;
        Ok(())
    }
}

/// What [`browser`] reads.
const COLUMNS: &str = "id, recipient, member, endpoint, public_key, auth, label, made_at";

fn browser(row: &Row<'_>) -> rusqlite::Result<Browser> {
    Ok(Browser {
        number: row.get(0)?,
        owner: KeyOwner {
            recipient: row.get(1)?,
            member: row.get(2)?,
        },
        said: BrowserSaid {
            endpoint: Secret::new(row.get(3)?),
            key: row.get(4)?,
            auth: Secret::new(row.get(5)?),
        },
        label: row.get(6)?,
        made_at: row.get(7)?,
    })
}

/// The browsers that a message to a recipient goes to: none yet is one of its own kind.
pub(super) fn browsers_for(
    connection: &Connection,
    draft: &Draft<'_>,
) -> Result<Vec<Option<i64>>, StoreError> {
    if draft.channel != Channel::WebPush {
        return Ok(vec![None]);
    }
    let sql = "SELECT id FROM web_push_browser WHERE recipient = ?1 AND member = ?2 ORDER BY id";
    let mut statement = connection.prepare_cached(sql)?;
    let rows = statement.query_map([draft.recipient, draft.member], |row| row.get(0))?;
    let found: Vec<Option<i64>> = rows.collect::<Result<_, _>>()?;
    Ok(match found.is_empty() {
        true => vec![None],
        false => found,
    })
}

/// Ends the notices of all browsers that a condition picks; it has one parameter or two.
pub(super) fn end_where(
    connection: &Connection,
    condition: &str,
    values: &[&str],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let sql = format!("SELECT id FROM web_push_browser WHERE {condition}");
    let numbers: Vec<i64> = {
        let mut statement = connection.prepare_cached(&sql)?;
        let rows = statement.query_map(rusqlite::params_from_iter(values), |row| row.get(0))?;
        rows.collect::<Result<_, _>>()?
    };
    for number in numbers {
        end(connection, number, now)?;
    }
    Ok(())
}

/// Ends the notices of a browser. Says whether it was there.
fn end(connection: &Connection, number: i64, now: DateTime<Utc>) -> Result<bool, StoreError> {
    let gone = connection.execute("DELETE FROM web_push_browser WHERE id = ?1", [number])?;
    // Of a message to several browsers each has a copy, written down at the same instant.
    connection.execute(
        "DELETE FROM outbox
         WHERE browser = ?1 AND state = 'waiting' AND EXISTS (
             SELECT 1 FROM outbox AS other
             WHERE other.recipient = outbox.recipient AND other.channel = outbox.channel
               AND other.id <> outbox.id AND other.browser <> outbox.browser
               AND other.created_at = outbox.created_at
               AND other.title = outbox.title AND other.body = outbox.body)",
        [number],
    )?;
    connection.execute(
        "UPDATE outbox SET next_try_at = ?2, browser =
             (SELECT min(id) FROM web_push_browser AS other
              WHERE other.recipient = outbox.recipient AND other.member IS outbox.member)
         WHERE browser = ?1 AND state = 'waiting'",
        params![number, now],
    )?;
    Ok(gone == 1)
}
