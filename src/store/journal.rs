//! The journal: what people saw and did. Entries are undone or replaced, never deleted.

use super::audit::LineOfChange;
use super::{Store, StoreError};
use crate::domain::journal::{Application, Entry, JournalAction};
use crate::domain::scouting::Found;
use crate::domain::scouting::{Count, SampleArea};
use crate::store::entry_keys::{entry_of_key, keep_key};
use crate::store::milestones::Pair;
use crate::store::spray_records::StoredRecord;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};
use serde::{Deserialize, Serialize};
use tracing::warn;

/// What an entry's kind has beyond a day, as it is stored: numbers with units stay as stated.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Detail {
    #[serde(skip_serializing_if = "Option::is_none")]
    option: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    area: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rate: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    most_a_season: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    depth: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    damage: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    beetles: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    samples: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sample_m2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    larvae: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    each: Option<Vec<u32>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    per_m2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    record: Option<StoredRecord>,
}

impl Detail {
    const NONE: Self = Self {
        option: None,
        area: None,
        rate: None,
        most_a_season: None,
        depth: None,
        damage: None,
        beetles: None,
        samples: None,
        sample_m2: None,
        larvae: None,
        each: None,
        per_m2: None,
        record: None,
    };

    fn of(action: &JournalAction) -> Option<Self> {
        match action {
            JournalAction::Catch { beetles: None, .. } => None,
            JournalAction::Catch { beetles, .. } => Some(Self {
                beetles: *beetles,
                ..Self::NONE
            }),
            JournalAction::Application(spread) => Some(Self {
                option: Some(spread.option.clone()),
                area: Some(spread.area.to_string()),
                rate: spread.rate.map(|rate| rate.to_string()),
                most_a_season: spread.most_a_season.map(|most| most.to_string()),
                record: StoredRecord::of(&spread.record),
                ..Self::NONE
            }),
            JournalAction::Count {
                found: Found::Samples(count),
                ..
            } => Some(Self {
                samples: Some(count.samples()),
                sample_m2: Some(count.area().m2()),
                larvae: Some(count.larvae()),
                each: count.each().map(<[u32]>::to_vec),
                ..Self::NONE
            }),
            JournalAction::Count {
                found: Found::Density(per_m2),
                ..
            } => Some(Self {
                per_m2: Some(*per_m2),
                ..Self::NONE
            }),
            JournalAction::Irrigation { depth } => Some(Self {
                depth: Some(depth.to_string()),
                ..Self::NONE
            }),
            JournalAction::Note { damage } => Some(Self {
                damage: *damage,
                ..Self::NONE
            }),
        }
    }

    /// The deed of a kind; `None` if something it needs is not there.
    fn action(self, kind: &str, species: Option<String>) -> Option<JournalAction> {
        let rate = |text: Option<String>| text.map(|text| text.parse()).transpose().ok();
        Some(match kind {
            "catch" => JournalAction::Catch {
                species: species?,
                beetles: self.beetles,
            },
            "application" => JournalAction::Application(Application {
                option: self.option?,
                area: self.area?.parse().ok()?,
                rate: rate(self.rate)?,
                most_a_season: rate(self.most_a_season)?,
                record: match self.record {
                    Some(record) => Box::new(record.understood()?),
                    None => Box::default(),
                },
            }),
            "count" => JournalAction::Count {
                species: species?,
                found: match self.per_m2 {
                    Some(per_m2) => Found::Density(per_m2),
                    None => {
                        let area = SampleArea::from_m2(self.sample_m2?).ok()?;
                        let count = Count::new(self.samples?, area, self.larvae?, self.each);
                        Found::Samples(count.ok()?)
                    }
                },
            },
            "irrigation" => JournalAction::Irrigation {
                depth: self.depth?.parse().ok()?,
            },
            "note" => JournalAction::Note {
                damage: self.damage,
            },
            _ => return None,
        })
    }
}

/// When something is entered, and the key of the form that it came with.
#[derive(Debug, Clone, Copy)]
pub struct Entering<'k> {
    /// The instant.
    pub now: DateTime<Utc>,
    /// The key.
    pub key: Option<&'k str>,
    /// The line of the audit that goes with it.
    pub line: Option<&'k LineOfChange>,
}

impl Entering<'_> {
    fn note(&self, transaction: &Transaction<'_>) -> Result<(), StoreError> {
        self.line.map_or(Ok(()), |line| line.go_with(transaction))
    }
}

const COLUMNS: &str = "id, site, species, day, remark, kind, detail";

impl Store {
    /// Enters what was done or seen; returns its number.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn log(
        &self,
        site: &str,
        day: NaiveDate,
        action: &JournalAction,
        remark: Option<&str>,
        now: DateTime<Utc>,
    ) -> Result<i64, StoreError> {
        insert(&self.connection, site, day, action, remark, None, now)
    }

    /// Enters what was done or seen if `may` agrees, which is given the entries of the site that
    /// stand; nobody else writes between its look and the entry. Returns the number. What was sent
    /// with a `key` that an entry of the site came with before is that entry: nothing is entered.
    ///
    /// # Errors
    /// What `may` says, or [`StoreError`] if the database fails.
    pub fn log_if<E: From<StoreError>>(
        &mut self,
        site: &str,
        day: NaiveDate,
        action: &JournalAction,
        remark: Option<&str>,
        entering: Entering<'_>,
        may: impl FnOnce(&[Entry]) -> Result<(), E>,
    ) -> Result<i64, E> {
        let Entering { now, key, .. } = entering;
        let transaction = self.immediate()?;
        if let Some(known) = entry_of_key(&transaction, site, key)? {
            return Ok(known);
        }
        may(&state(&transaction, site)?)?;
        let number = insert(&transaction, site, day, action, remark, None, now)?;
        keep_key(&transaction, key, number, now)?;
        entering.note(&transaction)?;
        transaction.commit().map_err(StoreError::from)?;
        Ok(number)
    }

    /// Puts an entry in the place of one that stands; the old one stays readable. Returns its
    /// number, or `None` if the old one does not stand.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn replace(
        &mut self,
        old: &Entry,
        day: NaiveDate,
        action: &JournalAction,
        remark: Option<&str>,
        now: DateTime<Utc>,
    ) -> Result<Option<i64>, StoreError> {
        self.replace_if(
            old,
            day,
            action,
            remark,
            Entering {
                now,
                key: None,
                line: None,
            },
            |_| Ok(()),
        )
    }

    /// The same if `may` agrees, which is given the other entries of the site that stand. A `key` is
    /// that of [`Store::log_if`].
    ///
    /// # Errors
    /// What `may` says, or [`StoreError`] if the database fails.
    pub fn replace_if<E: From<StoreError>>(
        &mut self,
        old: &Entry,
        day: NaiveDate,
        action: &JournalAction,
        remark: Option<&str>,
        entering: Entering<'_>,
        may: impl FnOnce(&[Entry]) -> Result<(), E>,
    ) -> Result<Option<i64>, E> {
        let Entering { now, key, .. } = entering;
        let transaction = self.immediate()?;
        if let Some(known) = entry_of_key(&transaction, &old.site, key)? {
            return Ok(Some(known));
        }
        if !remove(&transaction, old.number, now)? {
            return Ok(None);
        }
        may(&state(&transaction, &old.site)?)?;
        let replaces = Some(old.number);
        let number = insert(&transaction, &old.site, day, action, remark, replaces, now)?;
        keep_key(&transaction, key, number, now)?;
        entering.note(&transaction)?;
        transaction.commit().map_err(StoreError::from)?;
        Ok(Some(number))
    }

    /// The entries that stand of a site, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn entries(&self, site: &str) -> Result<Vec<Entry>, StoreError> {
        state(&self.connection, site)
    }

    /// The entries that stand of all sites, also of those no configuration names any more: site by
    /// site, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn all_entries(&self) -> Result<Vec<Entry>, StoreError> {
        let mut statement = self.connection.prepare_cached(&format!(
            "SELECT {COLUMNS} FROM journal WHERE removed_at IS NULL ORDER BY site, day, id"
        ))?;
        let rows = statement.query_map([], entry)?;
        understood_of(rows.collect::<Result<_, _>>()?)
    }

    /// An entry that stands, by its number.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails or the entry is not understood.
    pub fn entry(&self, number: i64) -> Result<Option<Entry>, StoreError> {
        let mut statement = self.connection.prepare_cached(&format!(
            "SELECT {COLUMNS} FROM journal WHERE id = ?1 AND removed_at IS NULL"
        ))?;
        statement.query_row([number], entry).optional()?.transpose()
    }

    /// The number that an entry had before it was edited for the first time; its own if it never
    /// was.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn first_number(&self, number: i64) -> Result<i64, StoreError> {
        Ok(self.connection.query_row(
            "WITH RECURSIVE chain (id, replaces) AS (
                 SELECT id, replaces FROM journal WHERE id = ?1
                 UNION ALL
                 SELECT old.id, old.replaces FROM journal AS old JOIN chain ON old.id = chain.replaces
             )
             SELECT coalesce(min(id), ?1) FROM chain",
            [number],
            |row| row.get(0),
        )?)
    }

    /// The days on which adults of a pair were caught, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn catches(&self, pair: Pair<'_>) -> Result<Vec<(NaiveDate, Option<u32>)>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT day, detail ->> 'beetles' FROM journal
             WHERE kind = 'catch' AND site = ?1 AND species = ?2 AND removed_at IS NULL
             ORDER BY day, id",
        )?;
        let rows = statement.query_map([pair.site, pair.species], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Undoes an entry; whether there was one that stood.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn undo(&self, number: i64, now: DateTime<Utc>) -> Result<bool, StoreError> {
        remove(&self.connection, number, now)
    }
}

/// The entries that stand of a site, oldest first.
fn state(connection: &Connection, site: &str) -> Result<Vec<Entry>, StoreError> {
    let mut statement = connection.prepare_cached(&format!(
        "SELECT {COLUMNS} FROM journal WHERE site = ?1 AND removed_at IS NULL ORDER BY day, id"
    ))?;
    let rows = statement.query_map([site], entry)?;
    understood_of(rows.collect::<Result<_, _>>()?)
}

/// The entries that are understood. One that is not, of a newer program or damaged, must not stop
/// what has nothing to do with it: it is left out and named in the log.
fn understood_of(rows: Vec<Result<Entry, StoreError>>) -> Result<Vec<Entry>, StoreError> {
    let mut entries = Vec::new();
    for row in rows {
        match row {
            Ok(entry) => entries.push(entry),
            Err(StoreError::Value { value, .. }) => warn!(
                "the journal's {value} cannot be read by this program and does not count; if a newer hatchbell wrote it, use that"
            ),
            Err(other) => return Err(other),
        }
    }
    Ok(entries)
}

fn insert(
    connection: &Connection,
    site: &str,
    day: NaiveDate,
    action: &JournalAction,
    remark: Option<&str>,
    replaces: Option<i64>,
    now: DateTime<Utc>,
) -> Result<i64, StoreError> {
    let detail = Detail::of(action)
        .map(|detail| serde_json::to_string(&detail))
        .transpose()
        .map_err(|error| StoreError::Value {
            value: error.to_string(),
            wanted: "a journal entry",
        })?;
    connection.execute(
        "INSERT INTO journal (kind, site, species, day, remark, detail, replaces, entered_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![
            action.kind(),
            site,
            action.species(),
            day,
            remark,
            detail,
            replaces,
            now
        ],
    )?;
    Ok(connection.last_insert_rowid())
}

fn remove(connection: &Connection, number: i64, now: DateTime<Utc>) -> Result<bool, StoreError> {
    let changed = connection.execute(
        "UPDATE journal SET removed_at = ?2 WHERE id = ?1 AND removed_at IS NULL",
        params![number, now],
    )?;
    Ok(changed == 1)
}

/// A row into an entry; what a newer program wrote may not be understood.
fn entry(row: &Row<'_>) -> rusqlite::Result<Result<Entry, StoreError>> {
    let number: i64 = row.get(0)?;
    let kind: String = row.get(5)?;
    let detail: Option<String> = row.get(6)?;
    let species: Option<String> = row.get(2)?;
    let detail = detail.map_or(Some(Detail::NONE), |text| serde_json::from_str(&text).ok());
    let Some(action) = detail.and_then(|detail| detail.action(&kind, species)) else {
        return Ok(Err(StoreError::Value {
            value: format!("{kind}, number {number}"),
            wanted: "a journal entry",
        }));
    };
    Ok(Ok(Entry {
        number,
        site: row.get(1)?,
        day: row.get(3)?,
        action,
        remark: row.get(4)?,
    }))
}
