//! The configuration in force: what it is, its files, its members as they were last good, and what
//! the operator was told of mistakes. Members stay when the service stops, so that one whose tables
//! have a mistake by the next start goes on.

use super::outbox::{Draft, insert};
use super::{Store, StoreError, understood};
use crate::in_force::{Fault, InForce, KeptFile, KeptMember, Refused, Standing};
use chrono::{DateTime, Utc};
use rusqlite::{Connection, OptionalExtension, params};

/// The digest; it is there while the service runs.
const DIGEST: &str = "configuration";
/// The file that was read.
const FILE: &str = "configuration-file";
/// When.
const READ_AT: &str = "configuration-read-at";
/// When another one was refused since, and why.
const REFUSED_AT: &str = "configuration-refused-at";
const REFUSED_WHY: &str = "configuration-refused-why";

impl Store {
    /// What the service runs with; `None` while it does not run.
    pub fn in_force(&self) -> Result<Option<InForce>, StoreError> {
        let Some(digest) = note(&self.connection, DIGEST)? else {
            return Ok(None);
        };
        Ok(Some(InForce {
            digest,
            file: note(&self.connection, FILE)?.unwrap_or_default(),
            read_at: instant(&note(&self.connection, READ_AT)?.unwrap_or_default())?,
        }))
    }

    /// Notes what is in force. What was refused before is over.
    pub fn note_in_force(
        &mut self,
        standing: &Standing,
        read_at: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        for (name, value) in [
            (DIGEST, &standing.digest),
            (FILE, &standing.file),
            (READ_AT, &read_at.to_rfc3339()),
        ] {
            write_note(&transaction, name, value)?;
        }
        for name in [REFUSED_AT, REFUSED_WHY] {
            remove_note(&transaction, name)?;
        }
        transaction.execute("DELETE FROM configuration_file", [])?;
        for file in &standing.files {
            transaction.execute(
                "INSERT INTO configuration_file (path, text) VALUES (?1, ?2)",
                [&file.path, &file.text],
            )?;
        }
        write_members(&transaction, &standing.members)?;
        transaction.commit()?;
        Ok(())
    }

    /// Notes that nothing is in force any more; members are kept.
    pub fn note_nothing_in_force(&mut self) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        for name in [DIGEST, FILE, READ_AT, REFUSED_AT, REFUSED_WHY] {
            remove_note(&transaction, name)?;
        }
        transaction.execute("DELETE FROM configuration_file", [])?;
        transaction.commit()?;
        Ok(())
    }

    /// Keeps members as they are in force for this cycle.
    pub fn keep_members(&mut self, members: &[KeptMember]) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        write_members(&transaction, members)?;
        transaction.commit()?;
        Ok(())
    }

    /// The members as they were last good.
    pub fn kept_members(&self) -> Result<Vec<KeptMember>, StoreError> {
        let mut statement = self
            .connection
            .prepare("SELECT member, file, text FROM member_in_force ORDER BY member")?;
        let members = statement.query_map([], |row| {
            Ok(KeptMember {
                id: row.get(0)?,
                file: row.get(1)?,
                text: row.get(2)?,
            })
        })?;
        Ok(members.collect::<rusqlite::Result<_>>()?)
    }

    /// The files of the configuration in force.
    pub fn kept_files(&self) -> Result<Vec<KeptFile>, StoreError> {
        let mut statement = self
            .connection
            .prepare("SELECT path, text FROM configuration_file ORDER BY path")?;
        let files = statement.query_map([], |row| {
            Ok(KeptFile {
                path: row.get(0)?,
                text: row.get(1)?,
            })
        })?;
        Ok(files.collect::<rusqlite::Result<_>>()?)
    }

    /// Notes that the service was asked to read a configuration and refused it.
    pub fn note_refused(&mut self, refused: &Refused) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        write_note(&transaction, REFUSED_AT, &refused.at.to_rfc3339())?;
        write_note(&transaction, REFUSED_WHY, &refused.why)?;
        transaction.commit()?;
        Ok(())
    }

    /// What was refused since the one in force was read.
    pub fn refused(&self) -> Result<Option<Refused>, StoreError> {
        let Some(why) = note(&self.connection, REFUSED_WHY)? else {
            return Ok(None);
        };
        let at = instant(&note(&self.connection, REFUSED_AT)?.unwrap_or_default())?;
        Ok(Some(Refused { at, why }))
    }

    /// The mistakes that the operator was told of.
    pub fn told_faults(&self) -> Result<Vec<Fault>, StoreError> {
        let mut statement = self.connection.prepare(
            "SELECT subject, goes_on, problems FROM configuration_fault ORDER BY subject",
        )?;
        let faults = statement.query_map([], |row| {
            let problems: String = row.get(2)?;
            Ok(Fault {
                subject: row.get(0)?,
                goes_on: row.get(1)?,
                problems: problems.lines().map(str::to_owned).collect(),
            })
        })?;
        Ok(faults.collect::<rusqlite::Result<_>>()?)
    }

    /// Writes the mistakes there are now in place of those before, with the messages that tell of
    /// them, in one transaction.
    pub fn note_faults(
        &mut self,
        faults: &[Fault],
        drafts: &[Draft<'_>],
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        let subjects: Vec<&str> = faults.iter().map(|one| one.subject.as_str()).collect();
        let subjects = serde_json::Value::from(subjects).to_string();
        transaction.execute(
            "DELETE FROM configuration_fault
             WHERE subject NOT IN (SELECT value FROM json_each(?1))",
            [subjects],
        )?;
        for fault in faults {
            transaction.execute(
                "INSERT INTO configuration_fault (subject, goes_on, problems, since)
                 VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (subject) DO UPDATE SET
                     goes_on = excluded.goes_on, problems = excluded.problems",
                params![fault.subject, fault.goes_on, fault.problems.join("\n"), now],
            )?;
        }
        for draft in drafts {
            insert(&transaction, draft, now)?;
        }
        transaction.commit()?;
        Ok(())
    }
}

fn write_members(connection: &Connection, members: &[KeptMember]) -> Result<(), StoreError> {
    connection.execute("DELETE FROM member_in_force", [])?;
    let mut statement = connection
        .prepare("INSERT INTO member_in_force (member, file, text) VALUES (?1, ?2, ?3)")?;
    for member in members {
        statement.execute([&member.id, &member.file, &member.text])?;
    }
    Ok(())
}

pub(super) fn note(connection: &Connection, name: &str) -> Result<Option<String>, StoreError> {
    let sql = "SELECT value FROM note WHERE name = ?1";
    Ok(connection
        .query_row(sql, [name], |row| row.get(0))
        .optional()?)
}

pub(super) fn write_note(
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

pub(super) fn remove_note(connection: &Connection, name: &str) -> Result<(), StoreError> {
    connection.execute("DELETE FROM note WHERE name = ?1", [name])?;
    Ok(())
}

fn instant(text: &str) -> Result<DateTime<Utc>, StoreError> {
    understood(text, "an instant", |text| text.parse().ok())
}
