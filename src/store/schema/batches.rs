//! Batches: what imports, feeds and undos changed, and what a feed may not say again.

pub(super) const STATEMENTS: &str = "
    CREATE TABLE batch (
        number   INTEGER PRIMARY KEY AUTOINCREMENT,
        at       TEXT NOT NULL,                 -- instant, UTC
        kind     TEXT NOT NULL CHECK (kind IN ('import', 'feed', 'undo')),
        what     TEXT NOT NULL,                 -- files, or the address of a feed
        undoes   INTEGER,                       -- the batch that this one took back
        archived INTEGER NOT NULL DEFAULT 0     -- values that went to the archive of every station
    ) STRICT;
    CREATE INDEX batch_undoes ON batch (undoes) WHERE undoes IS NOT NULL;

    CREATE TABLE batch_station (
        batch     INTEGER NOT NULL,
        station   TEXT NOT NULL,
        added     INTEGER NOT NULL,             -- days
        completed INTEGER NOT NULL,             -- days
        revised   INTEGER NOT NULL,             -- values
        withdrawn INTEGER NOT NULL,             -- values
        removed   INTEGER NOT NULL,             -- days
        rain      INTEGER NOT NULL,             -- days
        PRIMARY KEY (batch, station)
    ) STRICT, WITHOUT ROWID;
    CREATE INDEX batch_station_of ON batch_station (station, batch);

    CREATE TABLE batch_year (
        station TEXT NOT NULL,
        year    INTEGER NOT NULL,
        batch   INTEGER NOT NULL,
        changes BLOB NOT NULL,                  -- runs: first slot and length, 16-bit little-endian; 1
                                                -- added, 2 revised, 3 removed; for 2 and 3 the old
                                                -- values, 64-bit little-endian. Slots are 366 days of
                                                -- minimum, of maximum, of rain
        PRIMARY KEY (station, year, batch)
    ) STRICT, WITHOUT ROWID;
    CREATE INDEX batch_year_of ON batch_year (batch);

    CREATE TABLE refused_year (                 -- what a feed said in a batch that was undone
        station TEXT NOT NULL,
        year    INTEGER NOT NULL,
        said    BLOB NOT NULL,                  -- as changes, with what was said in the place of old
                                                -- values; 1 for values that it took back
        PRIMARY KEY (station, year)
    ) STRICT, WITHOUT ROWID;

    ALTER TABLE bulk_file ADD COLUMN batch INTEGER;     -- its undo makes the file unread again
    ";
