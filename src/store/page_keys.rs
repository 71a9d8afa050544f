//! Keys of the page: links to sign in by, sessions, tokens for programs. Only hashes are stored.

use super::audit::{self, AuditLine};
use super::browsers::end_where;
use super::outbox::{Draft, insert};
use super::{Store, StoreError};
use crate::key::KeyHash;
use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{OptionalExtension, params};
use serde::Serialize;

/// Whose a key is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyOwner {
    /// Recipient id.
    pub recipient: String,
    /// Id of the member whose recipient they were when they got it.
    pub member: String,
}

/// A key that is written down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewKey<'k> {
    /// What is kept of it.
    pub hash: &'k KeyHash,
    /// Whose it is.
    pub owner: &'k KeyOwner,
    /// When it is made.
    pub now: DateTime<Utc>,
    /// From when it is worth nothing.
    pub lapses_at: DateTime<Utc>,
}

/// A token that is good.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoodToken {
    /// Its number.
    pub number: i64,
    /// Whose it is.
    pub owner: KeyOwner,
    /// Whether it changes nothing.
    pub read_only: bool,
}

/// A token as it is listed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ListedToken {
    /// Its number.
    pub number: i64,
    /// Recipient id.
    pub recipient: String,
    /// Whether it changes nothing.
    pub read_only: bool,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// From when it is worth nothing.
    pub lapses_at: DateTime<Utc>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// What a message is about that holds a link to sign in by. Its text is not kept.
pub const SIGN_IN: &str = "sign-in";

/// How long a link to sign in by is good.
pub const LINK_LASTS: TimeDelta = TimeDelta::minutes(15);

impl Store {
    /// Writes down a link with the messages that bring it. Links that have lapsed are forgotten, and
    /// messages with one that still wait are given up.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_sign_in_link(
        &mut self,
        link: &NewKey<'_>,
        drafts: &[Draft<'_>],
        line: &AuditLine,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        transaction.execute("DELETE FROM sign_in_link WHERE lapses_at <= ?1", [link.now])?;
        transaction.execute("DELETE FROM session WHERE lapses_at <= ?1", [link.now])?;
        let age = link.lapses_at - link.now;
        transaction.execute(
            "UPDATE outbox SET state = 'given-up', last_error = NULL, body = ''
             WHERE state = 'waiting' AND kinds = ?1 AND created_at <= ?2",
            params![SIGN_IN, link.now - age],
        )?;
        transaction.execute(
            "INSERT INTO sign_in_link (hash, recipient, member, lapses_at) VALUES (?1, ?2, ?3, ?4)",
            params![
                link.hash.text(),
                link.owner.recipient,
                link.owner.member,
                link.lapses_at
            ],
        )?;
        for draft in drafts {
            insert(&transaction, draft, link.now)?;
        }
        audit::write(&transaction, line)?;
        transaction.commit()?;
        Ok(())
    }

    /// Whose a link is that is still good; it stays so.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn sign_in_link(
        &self,
        hash: &KeyHash,
        now: DateTime<Utc>,
    ) -> Result<Option<KeyOwner>, StoreError> {
        let sql = "SELECT recipient, member FROM sign_in_link WHERE hash = ?1 AND lapses_at > ?2";
        let mut statement = self.connection.prepare_cached(sql)?;
        let row = statement.query_row(params![hash.text(), now], owner);
        Ok(row.optional()?)
    }

    /// Takes a link, which is then worth nothing, and begins a session in its place. Says whether the
    /// link was still good.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn begin_session(
        &mut self,
        link: &KeyHash,
        session: &NewKey<'_>,
        line: &AuditLine,
    ) -> Result<bool, StoreError> {
        let transaction = self.immediate()?;
        let taken = transaction.execute(
            "DELETE FROM sign_in_link
             WHERE hash = ?1 AND lapses_at > ?2 AND recipient = ?3 AND member = ?4",
            params![
                link.text(),
                session.now,
                session.owner.recipient,
                session.owner.member
            ],
        )?;
        if taken == 0 {
            return Ok(false);
        }
        transaction.execute(
            "INSERT INTO session (hash, recipient, member, began_at, lapses_at)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![
                session.hash.text(),
                session.owner.recipient,
                session.owner.member,
                session.now,
                session.lapses_at
            ],
        )?;
        audit::write(&transaction, line)?;
        transaction.commit()?;
        Ok(true)
    }

    /// Whose a session is, if it is good.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn session(
        &self,
        hash: &KeyHash,
        now: DateTime<Utc>,
    ) -> Result<Option<KeyOwner>, StoreError> {
        let sql = "SELECT recipient, member FROM session WHERE hash = ?1 AND lapses_at > ?2";
        let mut statement = self.connection.prepare_cached(sql)?;
        let row = statement.query_row(params![hash.text(), now], owner);
        Ok(row.optional()?)
    }

    /// Ends a session, and the notices that were turned on in it; within [`Store::change_with`].
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn end_session(&self, hash: &KeyHash, now: DateTime<Utc>) -> Result<(), StoreError> {
        let sql = "DELETE FROM session WHERE hash = ?1";
        self.connection.execute(sql, [hash.text()])?;
        end_where(&self.connection, "session = ?1", &[hash.text()], now)?;
        Ok(())
    }

    /// Ends all sessions of a recipient and the notices in their browsers, and makes links on the way
    /// worth nothing. Says how many sessions there were.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn end_sessions_of(
        &mut self,
        recipient: &str,
        line: &AuditLine,
    ) -> Result<usize, StoreError> {
        let transaction = self.immediate()?;
        transaction.execute("DELETE FROM sign_in_link WHERE recipient = ?1", [recipient])?;
        let ended = transaction.execute("DELETE FROM session WHERE recipient = ?1", [recipient])?;
        end_where(&transaction, "recipient = ?1", &[recipient], line.at)?;
        audit::write(&transaction, line)?;
        transaction.commit()?;
        Ok(ended)
    }

    /// Writes down a token. Gives its number.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn note_token(
        &mut self,
        token: &NewKey<'_>,
        read_only: bool,
        line: &AuditLine,
    ) -> Result<i64, StoreError> {
        let transaction = self.immediate()?;
        transaction.execute(
            "INSERT INTO page_token (hash, recipient, member, read_only, made_at, lapses_at)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![
                token.hash.text(),
                token.owner.recipient,
                token.owner.member,
                read_only,
                token.now,
                token.lapses_at
            ],
        )?;
        let number = transaction.last_insert_rowid();
        let line = AuditLine {
            subject: format!("token {number}"),
            ..line.clone()
        };
        audit::write(&transaction, &line)?;
        transaction.commit()?;
        Ok(number)
    }

    /// A token by its hash, if it is good.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn token(
        &self,
        hash: &KeyHash,
        now: DateTime<Utc>,
    ) -> Result<Option<GoodToken>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT recipient, member, id, read_only FROM page_token
             WHERE hash = ?1 AND lapses_at > ?2 AND revoked_at IS NULL",
        )?;
        let row = statement.query_row(params![hash.text(), now], |row| {
            Ok(GoodToken {
                owner: owner(row)?,
                number: row.get(2)?,
                read_only: row.get(3)?,
            })
        });
        Ok(row.optional()?)
    }

    /// All tokens there have been, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn tokens(&self) -> Result<Vec<ListedToken>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, recipient, read_only, made_at, lapses_at, revoked_at
             FROM page_token ORDER BY id",
        )?;
        let rows = statement.query_map([], |row| {
            Ok(ListedToken {
                number: row.get(0)?,
                recipient: row.get(1)?,
                read_only: row.get(2)?,
                made_at: row.get(3)?,
                lapses_at: row.get(4)?,
                revoked_at: row.get(5)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Revokes a token. Says whether it was good until now.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn revoke_token(&mut self, number: i64, line: &AuditLine) -> Result<bool, StoreError> {
        let transaction = self.immediate()?;
        let revoked = transaction.execute(
            "UPDATE page_token SET revoked_at = ?2
             WHERE id = ?1 AND revoked_at IS NULL AND lapses_at > ?2",
            params![number, line.at],
        )?;
        if revoked > 0 {
            audit::write(&transaction, line)?;
        }
        transaction.commit()?;
        Ok(revoked > 0)
    }

    /// Makes the keys worth nothing of whoever has left the configuration: should somebody of the same
    /// id come later, they are not theirs.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn revoke_keys_of_others(
        &mut self,
        is_there: impl Fn(&KeyOwner) -> bool,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        let owners: Vec<KeyOwner> = {
            let mut statement = transaction.prepare_cached(
                "SELECT recipient, member FROM session
                 UNION SELECT recipient, member FROM sign_in_link
                 UNION SELECT recipient, member FROM web_push_browser
                 UNION SELECT recipient, member FROM page_token WHERE revoked_at IS NULL",
            )?;
            let rows = statement.query_map([], owner)?;
            rows.collect::<Result<_, _>>()?
        };
        for gone in owners.iter().filter(|owner| !is_there(owner)) {
            let whose = params![gone.recipient, gone.member];
            for table in ["session", "sign_in_link"] {
                let sql = format!("DELETE FROM {table} WHERE recipient = ?1 AND member = ?2");
                transaction.execute(&sql, whose)?;
            }
            let theirs = [gone.recipient.as_str(), gone.member.as_str()];
            end_where(&transaction, "recipient = ?1 AND member = ?2", &theirs, now)?;
            transaction.execute(
                "UPDATE page_token SET revoked_at = ?3
                 WHERE recipient = ?1 AND member = ?2 AND revoked_at IS NULL",
                params![gone.recipient, gone.member, now],
            )?;
            let line = AuditLine {
                at: now,
                recipient: None,
                way: "configuration".to_owned(),
                action: "revoked keys".to_owned(),
                subject: gone.recipient.clone(),
                client: None,
            };
            audit::write(&transaction, &line)?;
        }
        transaction.commit()?;
        Ok(())
    }
}

fn owner(row: &rusqlite::Row<'_>) -> rusqlite::Result<KeyOwner> {
    Ok(KeyOwner {
        recipient: row.get(0)?,
        member: row.get(1)?,
    })
}
