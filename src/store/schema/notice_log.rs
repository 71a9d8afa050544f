//! One log of what was told, from the three tables that kept it before.

use crate::store::StoreError;
use rusqlite::{OptionalExtension, Transaction};

/// The steps that were kept of an option, of the season as a whole, and of an application's water.
const UNKNOWN_STEP: &str = "
    SELECT subject || ', ' || step FROM advised WHERE NOT (
        step IN ('opens', 'best-ahead', 'last-call', 'too-late')
        OR (step IN ('counting', 'nothing-left', 'hold-back') AND subject = step)
        OR (step IN ('due', 'done', 'missed', 'lacking-again')
            AND species = '' AND subject = CAST(CAST(subject AS INTEGER) AS TEXT))
    ) LIMIT 1";

const CONVERT: &str = "
    CREATE TABLE notice_log (
        id            INTEGER PRIMARY KEY,
        kind          TEXT NOT NULL,
        site          TEXT NOT NULL,
        species       TEXT,                     -- none: about the site as a whole
        season        INTEGER,                  -- year it starts in; of an application, of its day
        option        TEXT,
        journal_entry INTEGER,                  -- an application's first number
        due           TEXT,                     -- the day it was about
        told_at       TEXT NOT NULL
    ) STRICT;
    CREATE INDEX notice_log_site ON notice_log (site, species, season);

    INSERT INTO notice_log (kind, site, species, season, option, journal_entry, due, told_at)
    SELECT * FROM (
        SELECT step, site, species, season, subject, NULL, due, told_at AS at
        FROM advised WHERE step IN ('opens', 'best-ahead', 'last-call', 'too-late')
        UNION ALL
        SELECT step, site, species, season, NULL, NULL, due, told_at
        FROM advised WHERE step IN ('counting', 'nothing-left', 'hold-back')
        UNION ALL
        SELECT 'water-' || step, site, NULL, season, NULL, CAST(subject AS INTEGER), due, told_at
        FROM advised WHERE step IN ('due', 'done', 'missed', 'lacking-again')
        UNION ALL
        SELECT 'held', site, species, season, NULL, NULL, NULL, told_at FROM held
        UNION ALL
        SELECT 'stale', site, NULL, NULL, NULL, NULL, NULL, told_at FROM quiet
    ) ORDER BY at, site, species, subject, step;

    DROP TABLE advised;
    DROP TABLE held;
    DROP TABLE quiet;
";

/// Keeps every notice in one table, with what it was about in columns of its own.
pub(super) fn convert(transaction: &Transaction<'_>) -> Result<(), StoreError> {
    let unknown: Option<String> = transaction
        .query_row(UNKNOWN_STEP, [], |row| row.get(0))
        .optional()?;
    if let Some(value) = unknown {
        let wanted = "a step that people are told of";
        return Err(StoreError::Value { value, wanted });
    }
    Ok(transaction.execute_batch(CONVERT)?)
}
