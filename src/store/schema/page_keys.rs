//! Keys of the page, and who changed what.

/// The tables.
pub(super) const STATEMENTS: &str = "
    CREATE TABLE sign_in_link (
        hash      TEXT NOT NULL PRIMARY KEY,    -- SHA-256
        recipient TEXT NOT NULL,
        member    TEXT NOT NULL,                -- whose recipient they were
        lapses_at TEXT NOT NULL                 -- instant, UTC
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE session (
        hash      TEXT NOT NULL PRIMARY KEY,
        recipient TEXT NOT NULL,
        member    TEXT NOT NULL,
        began_at  TEXT NOT NULL,
        lapses_at TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE page_token (                   -- for programs
        id         INTEGER PRIMARY KEY AUTOINCREMENT,
        hash       TEXT NOT NULL UNIQUE,
        recipient  TEXT NOT NULL,
        member     TEXT NOT NULL,
        read_only  INTEGER NOT NULL CHECK (read_only IN (0, 1)),
        made_at    TEXT NOT NULL,
        lapses_at  TEXT NOT NULL,
        revoked_at TEXT
    ) STRICT;

    CREATE TABLE audit (
        id        INTEGER PRIMARY KEY,
        at        TEXT NOT NULL,
        recipient TEXT,                         -- none: whoever has the machine
        way       TEXT NOT NULL,                -- by what they were known
        action    TEXT NOT NULL,
        subject   TEXT NOT NULL,
        client    TEXT                          -- address
    ) STRICT;
    ";
