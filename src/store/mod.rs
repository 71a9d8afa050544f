//! The database: what was measured, what was recorded, what is to be sent.
//!
//! SQLite in WAL mode. Readings are merged, never mirrored: a feed that shrinks or goes back
//! deletes nothing, and a value that a feed revises is kept beside the new one. Milestones and the
//! messages about them are written in one transaction; sending comes after.

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use std::path::{Path, PathBuf};

pub mod audit;
pub mod backup;
pub mod batches;
pub mod browsers;
pub mod bulk;
mod busy;
mod calendar;
pub mod change_counts;
mod copy;
mod entry_keys;
pub mod feeds;
pub mod findings;
pub mod forecast;
mod health;
pub mod held_values;
pub mod home_server;
pub mod in_force;
mod integrity;
pub mod journal;
pub mod links;
pub mod milestones;
pub mod notice_log;
pub mod outbox;
pub mod outbox_list;
pub mod page_keys;
pub mod pauses;
pub mod postponements;
pub mod rain;
mod reading_year;
pub mod readings;
mod refused_values;
pub mod restore;
mod running;
mod schema;
mod spray_records;
pub mod taking_in;
pub mod told;
pub mod undo;
pub mod unreachable;
mod year_of_changes;

pub use busy::wait_no_more;

/// Held by the one process that runs cycles on a database; let go when dropped.
#[derive(Debug)]
pub struct RunLock {
    file: std::fs::File,
}

impl RunLock {
    /// Takes the lock beside a database.
    ///
    /// # Errors
    /// [`StoreError::Open`] if another process holds it, or the folder cannot be written to.
    pub fn take(database: &Path) -> Result<Self, StoreError> {
        let path = running::beside(database, ".lock");
        let failed = |reason: String| StoreError::Open {
            path: database.to_owned(),
            reason,
        };
        make_private(&path).map_err(|error| failed(error.to_string()))?;
        let file = std::fs::OpenOptions::new()
            .read(true)
            .write(true)
            .open(&path)
            .map_err(|error| failed(error.to_string()))?;
        file.try_lock().map_err(|_| StoreError::Taken {
            path: database.to_owned(),
            lock: path,
        })?;
        Ok(Self { file })
    }

    /// The install id of the database that ran here last, if one did.
    fn install(&self) -> Option<String> {
        use std::os::unix::fs::FileExt;
        let mut text = [0; INSTALL_BYTES];
        self.file.read_exact_at(&mut text, 0).ok()?;
        String::from_utf8(text.to_vec()).ok()
    }

    fn remember(&self, install: &str) -> std::io::Result<()> {
        use std::os::unix::fs::FileExt;
        self.file.write_all_at(install.as_bytes(), 0)?;
        self.file.sync_all()
    }
}

/// Length of an install id.
const INSTALL_BYTES: usize = 16;

/// Prepared statements kept: more than there are in the program, since a cycle asks the same few
/// dozen things of every site.
const STATEMENTS: usize = 256;

/// What can go wrong with the database.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The file cannot be opened or made.
    #[error("database {path} cannot be opened: {reason}")]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system said.
        reason: String,
    },
    /// Another process runs cycles on it.
    #[error(
        "database {path} cannot be opened: another hatchbell runs cycles on it and holds {lock}; stop that one first"
    )]
    Taken {
        /// The file.
        path: PathBuf,
        /// What the other one holds.
        lock: PathBuf,
    },
    /// The file is something else.
    #[error("{0} is no database of hatchbell; name another file, or move this one away")]
    Foreign(PathBuf),
    /// The database that ran here last is no longer there, or empty.
    #[error(
        "database {0} has gone; put it back (from a backup), or start anew from nothing with `hatchbell run --new-database`"
    )]
    Gone(PathBuf),
    /// Another database lies in the place of the one that ran here last.
    #[error(
        "{0} is not the database that ran here last; put that one back, or go on with this one by `hatchbell run --new-database`"
    )]
    Exchanged(PathBuf),
    /// There is no database yet.
    #[error("there is no database at {0} yet; start the service or import a file first")]
    Missing(PathBuf),
    /// The file was written by a newer program.
    #[error(
        "database {path} has schema version {found}, this program knows up to {known}; update hatchbell or restore a backup"
    )]
    TooNew {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The newest version this program knows.
        known: i64,
    },
    /// The file was written by an older program and has not been brought up to date.
    #[error(
        "database {path} is of an older version of hatchbell; the service brings it up to date at its next start (or run `hatchbell run --once`)"
    )]
    TooOld {
        /// The file.
        path: PathBuf,
    },
    /// It cannot be copied, so nothing was changed.
    #[error("database {path} cannot be copied to {to}: {reason}; nothing was changed")]
    NotCopied {
        /// The database.
        path: PathBuf,
        /// The copy.
        to: PathBuf,
        /// What is in the way, and what to do.
        reason: String,
    },
    /// A file cannot take the place of the database.
    #[error("{file} cannot be restored: {reason}; nothing was changed")]
    NotRestored {
        /// The file.
        file: PathBuf,
        /// What is in the way, and what to do.
        reason: String,
    },
    /// There can be no secret for the keys of links.
    #[error("{0}, so that mails could have no links")]
    NoSecret(&'static str),
    /// A statement failed.
    #[error(
        "the database refused a statement; is the disk full, or the file damaged or no database of hatchbell?"
    )]
    Sql(#[from] rusqlite::Error),
    /// A stored value cannot be understood.
    #[error("the database holds {value:?} where {wanted} is due; restore the last backup")]
    Value {
        /// What is stored.
        value: String,
        /// What should be.
        wanted: &'static str,
    },
}

impl StoreError {
    /// Whether only a person can put it right: waiting for it at the start is of no use.
    pub fn is_refusal(&self) -> bool {
        matches!(
            self,
            Self::TooNew { .. } | Self::Foreign(_) | Self::Taken { .. }
        )
    }

    /// What it says, with what SQLite said.
    pub fn in_full(&self) -> String {
        match std::error::Error::source(self) {
            Some(source) => format!("{self} ({source})"),
            None => self.to_string(),
        }
    }
}

/// The open database.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    /// In the hands of the process that runs cycles.
    running: Option<Box<running::Running>>,
}

impl Store {
    /// Opens the database for reading and writing, makes it if it is not there, and brings its
    /// schema up to date. A new file can be read by its owner only.
    ///
    /// # Errors
    /// [`StoreError`] if the file cannot be opened, is damaged or comes from a newer program.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        let failed = |reason: String| StoreError::Open {
            path: path.to_owned(),
            reason,
        };
        make_private(path).map_err(|error| failed(error.to_string()))?;
        let mut connection = Connection::open(path).map_err(|error| failed(error.to_string()))?;
        prepare_for_many_statements(&connection)?;
        busy::wait_for_others(&mut connection)?;
        is_of_hatchbell(&connection, path)?;
        connection.pragma_update(None, "journal_mode", "WAL")?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        schema::migrate(&mut connection, path)?;
        Ok(Self {
            connection,
            running: None,
        })
    }

    /// The id of this database, made with it.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn install(&self) -> Result<String, StoreError> {
        let sql = "SELECT value FROM note WHERE name = 'install'";
        Ok(self.connection.query_row(sql, [], |row| row.get(0))?)
    }

    /// Opens a database that is thrown away soon: nothing waits for the disk.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_for_a_while(path: &Path) -> Result<Self, StoreError> {
        let store = Self::open(path)?;
        store.connection.pragma_update(None, "synchronous", "OFF")?;
        Ok(store)
    }

    /// Opens an existing database for reading only.
    ///
    /// # Errors
    /// [`StoreError::Missing`] if there is none, otherwise as [`Store::open`].
    pub fn open_to_read(path: &Path) -> Result<Self, StoreError> {
        let mut connection = Self::connection_to_read(path)?;
        prepare_for_many_statements(&connection)?;
        busy::wait_for_others(&mut connection)?;
        schema::check_is_current(&connection, path)?;
        Ok(Self {
            connection,
            running: None,
        })
    }

    /// A connection to an existing file for reading only.
    fn connection_to_read(path: &Path) -> Result<Connection, StoreError> {
        match path.try_exists() {
            Ok(true) => {}
            Ok(false) => return Err(StoreError::Missing(path.to_owned())),
            Err(error) => {
                return Err(StoreError::Open {
                    path: path.to_owned(),
                    reason: format!("{error}; run this as the user the service runs as"),
                });
            }
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        Connection::open_with_flags(path, flags).map_err(|error| StoreError::Open {
            path: path.to_owned(),
            reason: error.to_string(),
        })
    }

    /// A transaction that nobody else writes beside; dropped, it leaves no trace.
    fn immediate(&mut self) -> Result<Transaction<'_>, StoreError> {
        let connection = &mut self.connection;
        Ok(connection.transaction_with_behavior(TransactionBehavior::Immediate)?)
    }
}

/// Whether a database is one of hatchbell's; an empty one is not yet.
///
/// # Errors
/// [`StoreError::Foreign`] if it is something else.
fn is_of_hatchbell(connection: &Connection, path: &Path) -> Result<bool, StoreError> {
    let counted = connection.query_row(
        "SELECT count(*), count(*) FILTER (WHERE name = 'note') FROM sqlite_schema",
        [],
        |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?)),
    );
    match counted {
        Ok((0, _)) => Ok(false),
        Ok((_, 1)) => Ok(true),
        Ok(_) => Err(StoreError::Foreign(path.to_owned())),
        Err(error) if error.sqlite_error_code() == Some(rusqlite::ErrorCode::NotADatabase) => {
            Err(StoreError::Foreign(path.to_owned()))
        }
        Err(error) => Err(error.into()),
    }
}

/// Statements are prepared once, and not again for every value that they are asked with.
fn prepare_for_many_statements(connection: &Connection) -> Result<(), StoreError> {
    connection.set_prepared_statement_cache_capacity(STATEMENTS);
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    Ok(())
}

/// Makes the folder and an empty file that only its owner can read, if there is none.
fn make_private(path: &Path) -> std::io::Result<()> {
    if path.exists() {
        return Ok(());
    }
    if let Some(folder) = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
    {
        std::fs::create_dir_all(folder)?;
    }
    let mut options = std::fs::OpenOptions::new();
    options.create_new(true).write(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop)
}

/// Turns a stored text into a value.
fn understood<T>(
    text: &str,
    wanted: &'static str,
    read: impl FnOnce(&str) -> Option<T>,
) -> Result<T, StoreError> {
    read(text).ok_or_else(|| StoreError::Value {
        value: text.to_owned(),
        wanted,
    })
}
