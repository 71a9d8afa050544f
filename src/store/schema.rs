//! The tables, and how an older database becomes a newer one.
//!
//! `PRAGMA user_version` counts the migrations a file has seen. A migration that has landed is
//! never changed: the next change is the next entry.

use super::{StoreError, copy};
use rusqlite::{Connection, Transaction, TransactionBehavior};
use std::path::Path;

mod batches;
mod browsers;
mod change_counts;
mod notice_log;
mod packed_years;
mod page_keys;

/// A step from one version to the next.
enum Migration {
    /// Statements.
    Sql(&'static str),
    /// What statements alone cannot do.
    Function(fn(&Transaction<'_>) -> Result<(), StoreError>),
}

/// Every migration in order; entry n leads to version n + 1.
const MIGRATIONS: &[Migration] = &[
    // 1: readings, feeds, watching, milestones, outbox
    Migration::Sql(
        "
    CREATE TABLE note (
        name  TEXT NOT NULL PRIMARY KEY,
        value TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE reading (
        station    TEXT NOT NULL,
        day        TEXT NOT NULL,               -- civil date as the station publishes it
        min_c      REAL,
        max_c      REAL,
        first_seen TEXT NOT NULL,               -- instant, UTC
        PRIMARY KEY (station, day)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE revision (
        id      INTEGER PRIMARY KEY,
        station TEXT NOT NULL,
        day     TEXT NOT NULL,
        element TEXT NOT NULL CHECK (element IN ('min', 'max')),
        old_c   REAL NOT NULL,
        new_c   REAL,                           -- none: withdrawn by the publisher's quality check
        seen_at TEXT NOT NULL
    ) STRICT;
    CREATE INDEX revision_day ON revision (station, day);

    CREATE TABLE feed (
        station       TEXT NOT NULL PRIMARY KEY,
        fingerprint   TEXT NOT NULL DEFAULT '',
        etag          TEXT,
        last_modified TEXT,
        last_tried    TEXT,
        last_good     TEXT,
        failing_since TEXT,
        problem       TEXT
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE quiet (                        -- sites whose people know that no days arrive
        site     TEXT NOT NULL PRIMARY KEY,
        told_at  TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE held (                         -- pairs whose people know that milestones are held
        site     TEXT NOT NULL,
        species  TEXT NOT NULL,
        season   INTEGER NOT NULL,
        told_at  TEXT NOT NULL,
        PRIMARY KEY (site, species, season)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE watch (
        site         TEXT NOT NULL,
        species      TEXT NOT NULL,
        watched_from TEXT NOT NULL,             -- data through this day at the first evaluation
        PRIMARY KEY (site, species)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE crossing (
        site           TEXT NOT NULL,
        species        TEXT NOT NULL,
        season         INTEGER NOT NULL,        -- year the season starts in
        milestone      TEXT NOT NULL,
        passed_on      TEXT NOT NULL,
        by_date_cap    INTEGER NOT NULL CHECK (by_date_cap IN (0, 1)),
        degree_days    REAL NOT NULL,
        estimated_days INTEGER NOT NULL,
        data_through   TEXT,
        recorded_at    TEXT NOT NULL,
        told           INTEGER NOT NULL CHECK (told IN (0, 1)),
        corrected_to   TEXT,
        withdrawn      INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)),
        PRIMARY KEY (site, species, season, milestone)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE outbox (
        id          INTEGER PRIMARY KEY AUTOINCREMENT,
        recipient   TEXT NOT NULL,
        channel     TEXT NOT NULL,
        title       TEXT NOT NULL,
        body        TEXT NOT NULL,
        created_at  TEXT NOT NULL,
        state       TEXT NOT NULL DEFAULT 'waiting'
                    CHECK (state IN ('waiting', 'sent', 'given-up')),
        tries       INTEGER NOT NULL DEFAULT 0,
        next_try_at TEXT NOT NULL,
        last_error  TEXT,
        sent_at     TEXT
    ) STRICT;
    CREATE INDEX outbox_waiting ON outbox (next_try_at) WHERE state = 'waiting';

    INSERT INTO note (name, value) VALUES ('install', lower(hex(randomblob(8))));
    ",
    ),
    // 2: early notices, the journal of what people saw and did, forecasts
    Migration::Sql(
        "
    CREATE TABLE foretold (
        id        INTEGER PRIMARY KEY,
        site      TEXT NOT NULL,
        species   TEXT NOT NULL,
        season    INTEGER NOT NULL,
        milestone TEXT NOT NULL,
        lead_days INTEGER NOT NULL,
        likely    TEXT NOT NULL,
        told_at   TEXT NOT NULL
    ) STRICT;
    CREATE INDEX foretold_pair ON foretold (site, species, season);

    CREATE TABLE journal (
        id         INTEGER PRIMARY KEY,
        kind       TEXT NOT NULL,
        site       TEXT NOT NULL,
        species    TEXT,
        day        TEXT NOT NULL,
        remark     TEXT,
        entered_at TEXT NOT NULL,
        removed_at TEXT                         -- undone entries stay readable
    ) STRICT;
    CREATE INDEX journal_site ON journal (site, species, day);

    CREATE TABLE forecast (
        station TEXT NOT NULL,
        day     TEXT NOT NULL,
        min_c   REAL,
        max_c   REAL,
        PRIMARY KEY (station, day)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 3: rain
    Migration::Sql(
        "
    CREATE TABLE rain (
        station TEXT NOT NULL,
        day     TEXT NOT NULL,
        mm      REAL NOT NULL,
        PRIMARY KEY (station, day)
    ) STRICT, WITHOUT ROWID;
    ALTER TABLE forecast ADD COLUMN rain_mm REAL;
    ",
    ),
    // 4: what the last good file of a feed looked like, findings, values held out of sums
    Migration::Sql(
        "
    ALTER TABLE feed ADD COLUMN rows INTEGER;
    ALTER TABLE feed ADD COLUMN days INTEGER;
    ALTER TABLE feed ADD COLUMN first_day TEXT;
    ALTER TABLE feed ADD COLUMN newest_day TEXT;
    ALTER TABLE feed ADD COLUMN header TEXT;    -- names in order, a JSON array

    CREATE TABLE finding (
        id      INTEGER PRIMARY KEY,
        station TEXT NOT NULL,
        trouble TEXT NOT NULL,
        what    TEXT NOT NULL,
        since   TEXT NOT NULL,
        over_at TEXT                            -- none: still open
    ) STRICT;
    CREATE UNIQUE INDEX finding_open ON finding (station, trouble) WHERE over_at IS NULL;

    CREATE TABLE held_value (
        station TEXT NOT NULL,
        day     TEXT NOT NULL,
        element TEXT NOT NULL CHECK (element IN ('min', 'max')),
        celsius REAL NOT NULL,
        since   TEXT NOT NULL,
        PRIMARY KEY (station, day, element)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 5: files of many stations
    Migration::Sql(
        "
    CREATE TABLE bulk_file (                    -- files that were read to their end
        path        TEXT NOT NULL,
        taker       TEXT NOT NULL,              -- for a station with its code, or for the archive
        bytes       INTEGER NOT NULL,
        modified    TEXT NOT NULL,
        finished_at TEXT NOT NULL,
        PRIMARY KEY (path, taker)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE archive (                      -- stations that need not be configured
        year    INTEGER NOT NULL,
        code    TEXT NOT NULL,
        element TEXT NOT NULL CHECK (element IN ('max', 'min', 'rain')),
        days    BLOB NOT NULL,                  -- 366 16-bit numbers, little-endian: tenths of °C
                                                -- or mm by day of the year, -32768 for unknown
        PRIMARY KEY (year, code, element)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 6: applications, counts, irrigation and notes in the journal; what was told of treatments;
    // the range that was foretold
    Migration::Sql(
        "
    ALTER TABLE journal ADD COLUMN detail TEXT;     -- what its kind has beyond a day, JSON
    ALTER TABLE journal ADD COLUMN replaces INTEGER;    -- the entry that this one corrects

    ALTER TABLE foretold ADD COLUMN early TEXT;
    ALTER TABLE foretold ADD COLUMN late TEXT;

    CREATE TABLE advised (
        site    TEXT NOT NULL,
        species TEXT NOT NULL,                  -- empty where it is about the site as a whole
        season  INTEGER NOT NULL,
        subject TEXT NOT NULL,                  -- an option, a journal number, or counting
        step    TEXT NOT NULL,
        due     TEXT,                           -- the day it was about
        told_at TEXT NOT NULL,
        PRIMARY KEY (site, species, season, subject, step)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 7: one log of what was told
    Migration::Function(notice_log::convert),
    // 8: a year of readings as one value
    Migration::Function(packed_years::pack_days),
    // 9: a site has one plan, so steps, counting and what was taken back are told of it as a whole
    Migration::Sql(
        "
    UPDATE notice_log SET species = NULL
     WHERE kind IN ('opens', 'best-ahead', 'last-call', 'too-late', 'nothing-left', 'hold-back', 'counting');
    ",
    ),
    // 10: when a forecast was taken in, and its wind; one of which that is not known is not used
    Migration::Sql(
        "
    ALTER TABLE forecast ADD COLUMN issued_at TEXT;
    ALTER TABLE forecast ADD COLUMN wind_ms REAL;
    ",
    ),
    // 11: what may break quiet hours, and the last digest of each recipient
    Migration::Sql(
        "
    ALTER TABLE outbox ADD COLUMN urgent INTEGER NOT NULL DEFAULT 0 CHECK (urgent IN (0, 1));

    CREATE TABLE digest (
        recipient TEXT NOT NULL PRIMARY KEY,
        last      TEXT NOT NULL                 -- instant, UTC; before the first: since when they get any
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 12: what messages are about
    Migration::Sql(
        "
    ALTER TABLE outbox ADD COLUMN kinds TEXT NOT NULL DEFAULT '';
    ALTER TABLE outbox ADD COLUMN places TEXT NOT NULL DEFAULT '';  -- sites, or stations of feeds
    ",
    ),
    // 13: batches that can be undone, and what is refused from a feed since
    Migration::Sql(batches::STATEMENTS),
    // 14: screened values: why one is held, and what was decided
    Migration::Sql(
        "
    ALTER TABLE held_value ADD COLUMN reason TEXT NOT NULL DEFAULT 'gap';
    ALTER TABLE held_value ADD COLUMN least_c REAL;     -- what was expected
    ALTER TABLE held_value ADD COLUMN greatest_c REAL;

    CREATE TABLE decided_value (
        station    TEXT NOT NULL,
        day        TEXT NOT NULL,
        element    TEXT NOT NULL CHECK (element IN ('min', 'max')),
        celsius    REAL NOT NULL,
        decision   TEXT NOT NULL CHECK (decision IN ('confirmed', 'refused')),
        decided_by TEXT NOT NULL CHECK (decided_by IN ('command', 'time')),
        decided_at TEXT NOT NULL,
        PRIMARY KEY (station, day, element, celsius)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 15: ids of messages, which a restored database must not give again; whose recipient each was
    // for; which recipients the operator knows cannot be reached
    Migration::Sql(
        "
    ALTER TABLE outbox ADD COLUMN message_id TEXT NOT NULL DEFAULT '';
    ALTER TABLE outbox ADD COLUMN member TEXT;      -- none: not known
    UPDATE outbox SET message_id =
        (SELECT value FROM note WHERE name = 'install') || '.' || id;
    CREATE UNIQUE INDEX outbox_message_id ON outbox (message_id);
    DROP INDEX outbox_waiting;
    CREATE INDEX outbox_waiting ON outbox (id, next_try_at) WHERE state = 'waiting';

    CREATE TABLE unreachable (
        recipient TEXT NOT NULL,
        channel   TEXT NOT NULL,
        told_at   TEXT NOT NULL,
        PRIMARY KEY (recipient, channel)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 16: the configuration in force: its files, its members as they were last good, and what is
    // wrong with some of them; messages by recipient and way
    Migration::Sql(
        "
    CREATE TABLE configuration_file (
        path TEXT NOT NULL PRIMARY KEY,
        text TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE member_in_force (
        member TEXT NOT NULL PRIMARY KEY,
        file   TEXT NOT NULL,
        text   TEXT NOT NULL                    -- their tables, TOML
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE configuration_fault (          -- what the operator was told
        subject  TEXT NOT NULL PRIMARY KEY,
        goes_on  INTEGER NOT NULL CHECK (goes_on IN (0, 1)),
        problems TEXT NOT NULL,                 -- a line each
        since    TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;

    CREATE INDEX outbox_recipient ON outbox (recipient, channel);
    ",
    ),
    // 17: keys of the page, and who changed what
    Migration::Sql(page_keys::STATEMENTS),
    // 18: the keys of forms, and tasks that are put off
    Migration::Sql(
        "
    CREATE TABLE entry_key (
        key     TEXT    NOT NULL PRIMARY KEY,
        entry   INTEGER NOT NULL REFERENCES journal (id),
        kept_at TEXT    NOT NULL
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE postponement (
        site    TEXT NOT NULL,
        task    TEXT NOT NULL,
        option  TEXT NOT NULL,                  -- empty: about none
        until   TEXT NOT NULL,                  -- shown again on this day
        made_at TEXT NOT NULL,
        PRIMARY KEY (site, task, option)
    ) STRICT, WITHOUT ROWID;
    ",
    ),
    // 19: browsers that take notices, which of them a message is for, and until when it is worth something
    Migration::Sql(browsers::STATEMENTS),
    // 20: every forecast that arrived, with the day of its issue; days as in `forecast`
    Migration::Sql(
        "
    CREATE TABLE forecast_kept (
        station   TEXT NOT NULL,
        issued_on TEXT NOT NULL,                -- civil day, UTC
        day       TEXT NOT NULL,
        min_c     REAL,
        max_c     REAL,
        PRIMARY KEY (station, issued_on, day)
    ) STRICT, WITHOUT ROWID;
    INSERT INTO forecast_kept (station, issued_on, day, min_c, max_c)
    SELECT station, substr(issued_at, 1, 10), day, min_c, max_c
      FROM forecast
     WHERE issued_at IS NOT NULL AND (min_c IS NOT NULL OR max_c IS NOT NULL);
    ",
    ),
    // 21: how often what is known of a station or a site has changed
    Migration::Sql(change_counts::STATEMENTS),
];

pub(super) fn version(connection: &Connection) -> Result<i64, StoreError> {
    Ok(connection.query_row("PRAGMA user_version", [], |row| row.get(0))?)
}

/// Refuses a database of a newer program.
pub(super) fn check_version(connection: &Connection, path: &Path) -> Result<i64, StoreError> {
    let found = version(connection)?;
    let known = MIGRATIONS.len() as i64;
    if found > known {
        return Err(StoreError::TooNew {
            path: path.to_owned(),
            found,
            known,
        });
    }
    Ok(found)
}

/// Refuses a database of a newer or older program, for reading only.
pub(super) fn check_is_current(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    let found = check_version(connection, path)?;
    if found < MIGRATIONS.len() as i64 {
        return Err(StoreError::TooOld {
            path: path.to_owned(),
        });
    }
    Ok(())
}

/// Applies the migrations a database has not seen, each in a transaction of its own. A database that
/// holds something is copied before the first of them.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let found = check_version(connection, path)?;
    let is_file = connection.path().is_some_and(|path| !path.is_empty());
    if is_file && (1..MIGRATIONS.len() as i64).contains(&found) {
        copy::keep_before_migration(connection, path, found)?;
    }
    for (index, migration) in MIGRATIONS.iter().enumerate() {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        // Looked at inside the transaction: another process may have migrated meanwhile.
        if version(&transaction)? > index as i64 {
            continue;
        }
        match migration {
            Migration::Sql(statements) => transaction.execute_batch(statements)?,
            Migration::Function(convert) => convert(&transaction)?,
        }
        transaction.pragma_update(None, "user_version", index as i64 + 1)?;
        transaction.commit()?;
    }
    Ok(())
}
