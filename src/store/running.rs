//! The database in the hands of the one process that runs cycles on it: opened as soon as it can be,
//! known again when it was away, and never mistaken for another.
//!
//! The file `<database>.lock` holds the run lock and, as text, the install id of the database that
//! ran here last. So a database that has gone is not silently followed by an empty one.

use super::{RunLock, Store, StoreError, is_of_hatchbell, make_private};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};

/// What the running process knows of its database beside the connection.
#[derive(Debug)]
pub(super) struct Running {
    path: PathBuf,
    lock: Option<RunLock>,
    /// Whether a database other than the one known is taken, once.
    new_database: bool,
    /// The open file and its write-ahead log; none while nothing is open.
    open: Option<OpenFiles>,
    /// The write-ahead log of a database that was lost while open. It belongs to no other one.
    orphan_log: Option<FileId>,
}

#[derive(Debug, Clone, Copy)]
struct OpenFiles {
    database: FileId,
    log: Option<FileId>,
}

/// Which file it is, whatever its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct FileId {
    device: u64,
    inode: u64,
}

impl FileId {
    /// The file at a path; `None` if there is none, or nothing in it.
    fn of_filled(path: &Path) -> std::io::Result<Option<Self>> {
        Ok(std::fs::metadata(path)
            .map(Some)
            .or_else(|error| match error.kind() {
                std::io::ErrorKind::NotFound => Ok(None),
                _ => Err(error),
            })?
            .filter(|found| found.len() > 0)
            .map(|found| Self::from(&found)))
    }

    /// The file at a path, even an empty one.
    fn of(path: &Path) -> Option<Self> {
        std::fs::metadata(path).ok().map(|found| Self::from(&found))
    }
}

impl From<&std::fs::Metadata> for FileId {
    fn from(found: &std::fs::Metadata) -> Self {
        use std::os::unix::fs::MetadataExt;
        Self {
            device: found.dev(),
            inode: found.ino(),
        }
    }
}

impl Store {
    /// A database to run cycles on, not opened yet: [`Store::open_again`] does. `new_database` takes
    /// one that is not the one that ran here last.
    ///
    /// # Errors
    /// [`StoreError`] if there is no memory for it.
    pub fn to_run(path: &Path, new_database: bool) -> Result<Self, StoreError> {
        Ok(Self {
            connection: Connection::open_in_memory()?,
            running: Some(Box::new(Running {
                path: path.to_owned(),
                lock: None,
                new_database,
                open: None,
                orphan_log: None,
            })),
        })
    }

    /// Whether the file is open.
    pub fn is_open(&self) -> bool {
        self.running.as_ref().is_none_or(|one| one.open.is_some())
    }

    /// Opens the database to run cycles on, after letting go of what was open.
    ///
    /// # Errors
    /// [`StoreError`] if it cannot be opened, is none of hatchbell, or is not the one that ran here
    /// before. Nothing is open then, and the next call tries again.
    pub fn open_again(&mut self) -> Result<(), StoreError> {
        let Some(mut running) = self.running.take() else {
            return Ok(());
        };
        let opened = self.let_go(&mut running).and_then(|()| running.open());
        let result = opened.map(|connection| self.connection = connection);
        self.running = Some(running);
        result
    }

    /// Looks whether the open file is still the one at its path.
    ///
    /// # Errors
    /// [`StoreError::Gone`] or [`StoreError::Exchanged`] if it is not; nothing more is written to it.
    pub fn still_there(&mut self) -> Result<(), StoreError> {
        let Some(mut running) = self.running.take() else {
            return Ok(());
        };
        let result = running.look();
        if result.is_err() {
            let _ = self.let_go(&mut running);
        }
        self.running = Some(running);
        result
    }

    /// Writes something of no meaning, to see whether the database takes it.
    ///
    /// # Errors
    /// [`StoreError`] if it does not.
    pub fn try_writing(&self) -> Result<(), StoreError> {
        self.connection
            .execute_batch(
                "BEGIN IMMEDIATE;
             INSERT OR REPLACE INTO note (name, value) VALUES ('tried', hex(randomblob(2048)));
             DELETE FROM note WHERE name = 'tried';
             COMMIT;",
            )
            .inspect_err(|_| {
                // The transaction may be open still; without one there is nothing to roll back.
                let _ = self.connection.execute_batch("ROLLBACK");
            })?;
        Ok(())
    }

    /// Closes what is open. The log of a file that is no longer at its path is not written into it.
    fn let_go(&mut self, running: &mut Running) -> Result<(), StoreError> {
        if let Some(open) = running.open.take()
            && FileId::of_filled(&running.path).ok().flatten() != Some(open.database)
        {
            self.connection
                .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
            running.orphan_log = open.log;
        }
        self.connection = Connection::open_in_memory()?;
        Ok(())
    }
}

impl Running {
    fn open(&mut self) -> Result<Connection, StoreError> {
        if self.lock.is_none() {
            self.lock = Some(RunLock::take(&self.path)?);
        }
        let known = self.lock.as_ref().and_then(RunLock::install);
        let path = self.path.clone();
        let failed = |error: std::io::Error| StoreError::Open {
            path: path.clone(),
            reason: error.to_string(),
        };
        if let (Some(_), false) = (&known, self.new_database) {
            FileId::of_filled(&self.path)
                .map_err(failed)?
                .ok_or_else(|| StoreError::Gone(self.path.clone()))?;
        }
        self.set_log_aside().map_err(failed)?;
        if let (Some(known), false) = (&known, self.new_database)
            && install_at(&self.path)?.as_ref() != Some(known)
        {
            return Err(StoreError::Exchanged(self.path.clone()));
        }
        make_private(&self.path).map_err(failed)?;
        let store = Store::open(&self.path)?;
        let install = store.install()?;
        if known.as_ref() != Some(&install)
            && let Some(lock) = &self.lock
        {
            lock.remember(&install).map_err(failed)?;
        }
        self.open = FileId::of(&self.path).map(|database| OpenFiles {
            database,
            log: FileId::of(&beside(&self.path, "-wal")),
        });
        self.new_database = false;
        Ok(store.connection)
    }

    fn look(&self) -> Result<(), StoreError> {
        let Some(open) = self.open else {
            return Ok(());
        };
        match FileId::of_filled(&self.path) {
            Ok(Some(found)) if found == open.database => Ok(()),
            Ok(Some(_)) => Err(StoreError::Exchanged(self.path.clone())),
            Ok(None) => Err(StoreError::Gone(self.path.clone())),
            Err(error) => Err(StoreError::Open {
                path: self.path.clone(),
                reason: error.to_string(),
            }),
        }
    }

    /// SQLite would read the log of a lost database into the one that took its place.
    fn set_log_aside(&mut self) -> std::io::Result<()> {
        let log = beside(&self.path, "-wal");
        if self.orphan_log.is_some() && FileId::of(&log) == self.orphan_log {
            std::fs::rename(&log, beside(&self.path, "-wal.lost"))?;
            match std::fs::remove_file(beside(&self.path, "-shm")) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
        self.orphan_log = None;
        Ok(())
    }
}

/// The path of a file that goes with another and has its name with an ending more.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

/// The install id of a file that is there; `None` if it has none.
fn install_at(path: &Path) -> Result<Option<String>, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection =
        Connection::open_with_flags(path, flags).map_err(|error| StoreError::Open {
            path: path.to_owned(),
            reason: error.to_string(),
        })?;
    super::busy::wait_for_others(&mut connection)?;
    if !is_of_hatchbell(&connection, path)? {
        return Ok(None);
    }
    Store {
        connection,
        running: None,
    }
    .install()
    .map(Some)
}
