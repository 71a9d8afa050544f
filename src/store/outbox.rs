//! The outbox: messages that were decided on, and what became of them.
//!
//! A message keeps its number and its id for life, so a repeat after a crash can be recognised. An
//! id is random: a database that is restored from a backup gives none a second time. Addresses are
//! not stored: they are looked up in the configuration when a message is sent, so a corrected
//! address also serves messages that wait. So are quiet hours and pauses; stored is only whether a
//! message may break them.

use super::browsers::browsers_for;
use super::page_keys::SIGN_IN;
use super::pauses::{LONGEST, Retry, pause};
use super::{Store, StoreError, understood};
use crate::domain::place::site::Channel;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rusqlite::{OptionalExtension, Transaction, params};
use serde::Serialize;
use std::collections::HashMap;

/// A message that has been decided on but not written down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft<'a> {
    /// Recipient id.
    pub recipient: &'a str,
    /// Id of the member whose recipient this is.
    pub member: &'a str,
    /// Way to reach them.
    pub channel: Channel,
    /// Subject or title.
    pub title: String,
    /// Text.
    pub body: String,
    /// Whether it breaks quiet hours that let urgent messages through.
    pub urgent: bool,
    /// What it is about, for lists.
    pub about: About<'a>,
}

/// What a message is about, for lists.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct About<'a> {
    /// Names of what it tells, for example `last-call`.
    pub kinds: Vec<&'static str>,
    /// Site ids; of the operator's messages about feeds, station ids.
    pub places: Vec<&'a str>,
    /// The one task that it is about: a newer message of the same can take its place.
    pub task: Option<String>,
    /// The last day on which it is worth something.
    pub deadline: Option<NaiveDate>,
}

/// A message as it is listed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ListedMessage {
    /// When it was decided on.
    pub date: NaiveDate,
    /// Recipient id.
    pub recipient: String,
    /// Way to reach them.
    pub channel: String,
    /// Names of what it tells, for example `last-call`.
    pub kinds: Vec<String>,
    /// Site ids; of the operator's messages about feeds, station ids.
    pub sites: Vec<String>,
    /// Subject or title.
    pub title: String,
    /// Text.
    pub text: String,
}

/// What must be known of a message to put it in line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueMessage {
    /// Its number.
    pub number: i64,
    /// Recipient id.
    pub recipient: String,
    /// Way to reach them.
    pub channel: Channel,
    /// Whether it breaks quiet hours that let urgent messages through.
    pub urgent: bool,
    /// Whether its recipient has just asked for it and waits for it.
    pub asked_for: bool,
    /// The number of the browser that it is for.
    pub browser: Option<i64>,
}

/// A message in the outbox that waits to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// Its number.
    pub number: i64,
    /// Id for Message-ID and push id: the same at every attempt.
    pub id: String,
    /// Recipient id.
    pub recipient: String,
    /// Id of the member whose recipient it was meant for, if that was written down.
    pub member: Option<String>,
    /// Way to reach them.
    pub channel: Channel,
    /// Subject or title.
    pub title: String,
    /// Text.
    pub body: String,
    /// Whether it breaks quiet hours that let urgent messages through.
    pub urgent: bool,
    /// Site ids; of the operator's messages about feeds, station ids.
    pub places: Vec<String>,
    /// When it was decided on.
    pub created_at: DateTime<Utc>,
    /// Attempts so far.
    pub tries: u32,
    /// The number of the browser that it is for.
    pub browser: Option<i64>,
    /// The one task that it is about.
    pub task: Option<String>,
    /// The last day on which it is worth something.
    pub deadline: Option<NaiveDate>,
}

/// How many messages are in which state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Not sent yet.
    pub waiting: u32,
    /// Not sent yet after at least one attempt.
    pub failing: u32,
    /// Sent.
    pub sent: u32,
    /// Given up.
    pub given_up: u32,
}

/// Most messages that are put in line at once.
const PAGE: u32 = 1_000;

/// Age at which a message is given up: by then its advice is out of date.
const GIVE_UP_AFTER: TimeDelta = TimeDelta::days(14);

/// Tries before a message is given up, however old it is: a machine that was off for weeks has not
/// tried yet. By the pauses between them they take more than an hour.
const FEWEST_TRIES: u32 = 5;

/// Between names and ids, which have no spaces.
const SEPARATOR: &str = " ";

fn parts(text: &str) -> Vec<String> {
    text.split_whitespace().map(str::to_owned).collect()
}

pub(super) fn insert(
    transaction: &Transaction<'_>,
    draft: &Draft<'_>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    for browser in browsers_for(transaction, draft)? {
        transaction.execute(
            "INSERT INTO outbox
                 (message_id, recipient, channel, title, body, urgent, kinds, places, created_at,
                  next_try_at, member, browser, task, deadline)
             VALUES (lower(hex(randomblob(16))), ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?8, ?9, ?10, ?11, ?12)",
            params![
                draft.recipient,
                draft.channel.name(),
                draft.title,
                draft.body,
                draft.urgent,
                draft.about.kinds.join(SEPARATOR),
                draft.about.places.join(SEPARATOR),
                now,
                draft.member,
                browser,
                draft.about.task,
                draft.about.deadline
            ],
        )?;
    }
    Ok(())
}

impl Store {
    /// All messages, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn messages(&self) -> Result<Vec<ListedMessage>, StoreError> {
        let mut statement = self.connection.prepare(
            "SELECT created_at, recipient, channel, kinds, places, title, body FROM outbox
             ORDER BY id",
        )?;
        let rows = statement.query_map([], |row| {
            let created_at: DateTime<Utc> = row.get(0)?;
            Ok(ListedMessage {
                date: created_at.date_naive(),
                recipient: row.get(1)?,
                channel: row.get(2)?,
                kinds: parts(&row.get::<_, String>(3)?),
                sites: parts(&row.get::<_, String>(4)?),
                title: row.get(5)?,
                text: row.get(6)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// At most a page of the messages to be sent or tried again at `now`, oldest first, those with
    /// numbers beyond `after`, whatever the hours of their recipients. One that is put off for
    /// longer than this program ever does was put off by a clock that was ahead, and is due.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn due(&self, now: DateTime<Utc>, after: i64) -> Result<Vec<DueMessage>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, recipient, channel, urgent, kinds, browser FROM outbox INDEXED BY outbox_waiting
             WHERE state = 'waiting' AND id > ?1 AND (next_try_at <= ?2 OR next_try_at > ?3)
             ORDER BY id LIMIT ?4",
        )?;
        let mut rows = statement.query(params![after, now, now + LONGEST, PAGE])?;
        let mut due = Vec::new();
        while let Some(row) = rows.next()? {
            let channel: String = row.get(2)?;
            due.push(DueMessage {
                number: row.get(0)?,
                recipient: row.get(1)?,
                channel: understood(&channel, "a channel", Channel::from_name)?,
                urgent: row.get(3)?,
                asked_for: row.get::<_, String>(4)? == SIGN_IN,
                browser: row.get(5)?,
            });
        }
        Ok(due)
    }

    /// A message that waits; `None` if it no longer does.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn waiting(&self, number: i64) -> Result<Option<Waiting>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT message_id, recipient, member, channel, title, body, urgent, created_at, tries, places,
                    browser, task, deadline
             FROM outbox WHERE id = ?1 AND state = 'waiting'",
        )?;
        let mut rows = statement.query([number])?;
        let Some(row) = rows.next()? else {
            return Ok(None);
        };
        let channel: String = row.get(3)?;
        Ok(Some(Waiting {
            number,
            id: row.get(0)?,
            recipient: row.get(1)?,
            member: row.get(2)?,
            channel: understood(&channel, "a channel", Channel::from_name)?,
            title: row.get(4)?,
            body: row.get(5)?,
            urgent: row.get(6)?,
            created_at: row.get(7)?,
            tries: row.get(8)?,
            places: parts(&row.get::<_, String>(9)?),
            browser: row.get(10)?,
            task: row.get(11)?,
            deadline: row.get(12)?,
        }))
    }

    /// Notes an attempt before it is made, with when to try again if nothing more is heard of it.
    /// What cannot be noted must not be sent, or it would be sent again and again.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn attempt(&self, message: &Waiting, now: DateTime<Utc>) -> Result<(), StoreError> {
        let mut statement = self.connection.prepare_cached(
            "UPDATE outbox SET tries = tries + 1, next_try_at = ?2 WHERE id = ?1",
        )?;
        let again = now + pause(&message.id, message.tries + 1, Retry::Soon);
        statement.execute(params![message.number, again])?;
        Ok(())
    }

    /// Notes that a message was accepted.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn sent(&self, number: i64, now: DateTime<Utc>) -> Result<(), StoreError> {
        let mut statement = self.connection.prepare_cached(
            "UPDATE outbox SET state = 'sent', sent_at = ?2, last_error = NULL,
                    body = CASE kinds WHEN ?3 THEN '' ELSE body END
             WHERE id = ?1",
        )?;
        statement.execute(params![number, now, SIGN_IN])?;
        Ok(())
    }

    /// Notes a failed attempt and when to try again; too old a message is given up.
    /// Returns whether it was given up.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn not_sent(
        &self,
        message: &Waiting,
        error: &str,
        retry: Retry,
        now: DateTime<Utc>,
    ) -> Result<bool, StoreError> {
        let tries = message.tries + 1;
        let give_up = now - message.created_at >= GIVE_UP_AFTER && tries >= FEWEST_TRIES;
        let state = if give_up { "given-up" } else { "waiting" };
        let again = now + pause(&message.id, tries, retry);
        // Somebody may have dropped it meanwhile.
        self.connection.execute(
            "UPDATE outbox SET last_error = ?2, next_try_at = ?3, state = ?4
             WHERE id = ?1 AND state = 'waiting'",
            params![message.number, error, again, state],
        )?;
        Ok(give_up)
    }

    /// When a recipient's last digest was due, or from when on their first one gathers; `None` if they
    /// never had any.
    pub fn last_digest(&self, recipient: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT last FROM digest WHERE recipient = ?1")?;
        Ok(statement
            .query_row([recipient], |row| row.get(0))
            .optional()?)
    }

    /// The same for all recipients that ever had any.
    pub fn last_digests(&self) -> Result<HashMap<String, DateTime<Utc>>, StoreError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT recipient, last FROM digest")?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// How many messages are in which state.
    pub fn tally(&self) -> Result<Tally, StoreError> {
        Ok(self.connection.query_row(
            "SELECT coalesce(sum(state = 'waiting'), 0),
                    coalesce(sum(state = 'waiting' AND tries > 0), 0),
                    coalesce(sum(state = 'sent'), 0),
                    coalesce(sum(state = 'given-up'), 0)
             FROM outbox",
            [],
            |row| {
                Ok(Tally {
                    waiting: row.get(0)?,
                    failing: row.get(1)?,
                    sent: row.get(2)?,
                    given_up: row.get(3)?,
                })
            },
        )?)
    }

    /// What the newest failed attempts ran into, newest first, one line for each recipient and
    /// channel, of the last 30 days.
    pub fn delivery_problems(&self, now: DateTime<Utc>) -> Result<Vec<String>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT recipient, channel, last_error, max(id) FROM outbox
             WHERE state <> 'sent' AND last_error IS NOT NULL AND created_at > ?1
             GROUP BY recipient, channel ORDER BY max(id) DESC",
        )?;
        let rows = statement.query_map([now - TimeDelta::days(30)], |row| {
            Ok(format!(
                "{} by {}: {}",
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, String>(2)?
            ))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}
