//! Browsers that take notices.

/// The table, and what messages need for them.
pub(super) const STATEMENTS: &str = "
    CREATE TABLE web_push_browser (
        id         INTEGER PRIMARY KEY AUTOINCREMENT,
        recipient  TEXT NOT NULL,
        member     TEXT NOT NULL,               -- whose recipient they were
        endpoint   TEXT NOT NULL UNIQUE,        -- address at a push service
        public_key TEXT NOT NULL,               -- base64url, as the next
        auth       TEXT NOT NULL,
        label      TEXT NOT NULL,
        session    TEXT NOT NULL,               -- SHA-256 of the session's key; ends with it
        made_at    TEXT NOT NULL
    ) STRICT;

    ALTER TABLE outbox ADD COLUMN browser INTEGER;  -- none: of another channel, or there was none yet
    ALTER TABLE outbox ADD COLUMN task TEXT;        -- what it is about, if that is one task
    ALTER TABLE outbox ADD COLUMN deadline TEXT;    -- the last day on which it is worth something
    CREATE INDEX outbox_browser ON outbox (browser) WHERE browser IS NOT NULL;
    ";
