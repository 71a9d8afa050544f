//! Recipients who cannot be reached, and which of them the operator knows of.

use super::outbox::{Draft, insert};
use super::{Store, StoreError, understood};
use crate::domain::place::site::Channel;
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::params;

/// Somebody whose messages wait after failed attempts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unreachable {
    /// Recipient id.
    pub recipient: String,
    /// The way that fails.
    pub channel: Channel,
    /// Messages that wait after a failed attempt.
    pub messages: u32,
    /// Since when the oldest waits.
    pub since: DateTime<Utc>,
    /// What the last attempt ran into.
    pub why: String,
}

/// Attempts that are no news yet: a server that restarts is back by the next.
const NO_NEWS: u32 = 3;

/// What is put off for longer was refused, which is news at once: other pauses are shorter.
const REFUSED: TimeDelta = TimeDelta::hours(8);

impl Store {
    /// Who cannot be reached and the operator does not know: after a few attempts or a refusal, once until a
    /// message gets through again, and at most once a day.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn newly_unreachable(&self, now: DateTime<Utc>) -> Result<Vec<Unreachable>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT recipient, channel, count(*), min(created_at),
                    -- Of the message that makes it news, not of whichever comes first.
                    (SELECT last_error FROM outbox AS one
                     WHERE one.recipient = waits.recipient AND one.channel = waits.channel
                       AND one.state = 'waiting' AND one.last_error IS NOT NULL
                     ORDER BY one.next_try_at > ?3 DESC, one.tries DESC, one.id DESC LIMIT 1)
             FROM outbox AS waits
             WHERE state = 'waiting' AND last_error IS NOT NULL
             GROUP BY recipient, channel
             HAVING (max(tries) > ?2 OR max(next_try_at) > ?3)
               -- Once for each group and not for each message: no index finds what somebody got.
               AND NOT EXISTS (
                   SELECT 1 FROM unreachable AS known
                   WHERE known.recipient = waits.recipient AND known.channel = waits.channel
                     AND (known.told_at > ?1 OR NOT EXISTS (
                         SELECT 1 FROM outbox AS got
                         WHERE got.recipient = known.recipient AND got.channel = known.channel
                           AND got.state = 'sent' AND got.sent_at > known.told_at)))
             ORDER BY recipient, channel",
        )?;
        let a_day_ago = now - TimeDelta::days(1);
        let mut rows = statement.query(params![a_day_ago, NO_NEWS, now + REFUSED])?;
        let mut found = Vec::new();
        while let Some(row) = rows.next()? {
            let channel: String = row.get(1)?;
            found.push(Unreachable {
                recipient: row.get(0)?,
                channel: understood(&channel, "a channel", Channel::from_name)?,
                messages: row.get(2)?,
                since: row.get(3)?,
                why: row.get(4)?,
            });
        }
        Ok(found)
    }

    /// Notes that the operator is told of these, together with the messages that do.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_unreachable(
        &mut self,
        told: &[Unreachable],
        drafts: &[Draft<'_>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.connection.transaction()?;
        for one in told {
            transaction.execute(
                "INSERT INTO unreachable (recipient, channel, told_at) VALUES (?1, ?2, ?3)
                 ON CONFLICT (recipient, channel) DO UPDATE SET told_at = excluded.told_at",
                params![one.recipient, one.channel.name(), now],
            )?;
        }
        for draft in drafts {
            insert(&transaction, draft, now)?;
        }
        transaction.commit()?;
        Ok(())
    }
}
