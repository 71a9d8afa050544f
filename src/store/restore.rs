//! Putting a backup in the place of the database; the present one is kept beside it.

use super::backup::same_file;
use super::busy::wait_for_others;
use super::copy::{folder_of, open_read_only, part_of, sync_folder, system_words};
use super::running::beside;
use super::{RunLock, StoreError, integrity, is_of_hatchbell, schema};
use rusqlite::{Connection, OpenFlags};
use std::io::ErrorKind;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// What was restored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// The schema of the file.
    pub schema: i64,
    /// Where the database is that was there before, if there was one.
    pub kept: Option<PathBuf>,
}

/// Puts a file in the place of the database. `mark` goes into the name that the present database is
/// kept under.
///
/// # Errors
/// [`StoreError::Taken`] while the service runs; [`StoreError::Foreign`] and [`StoreError::TooNew`] for
/// a file that this program cannot use; [`StoreError::NotRestored`] if it is damaged or cannot be put
/// there. The database is as it was then.
pub fn restore(file: &Path, database: &Path, mark: &str) -> Result<Restored, StoreError> {
    let failed = |reason: String| StoreError::NotRestored {
        file: file.to_owned(),
        reason,
    };
    let system = |error: std::io::Error| failed(system_words(&error));
    if same_file(file, database) {
        return Err(failed("that is the database itself".to_owned()));
    }
    match file.metadata() {
        Ok(found) if found.is_file() && found.len() > 0 => {}
        Ok(found) if found.is_file() => return Err(failed("it is empty".to_owned())),
        Ok(_) => return Err(failed("it is not a file".to_owned())),
        Err(error) => return Err(failed(error.to_string())),
    }
    let lock = RunLock::take(database)?;
    let source = open_backup(file)?;
    if !is_of_hatchbell(&source, file)? {
        return Err(StoreError::Foreign(file.to_owned()));
    }
    let schema = schema::check_version(&source, file)?;
    let install: String = source
        .query_row("SELECT value FROM note WHERE name = 'install'", [], |row| {
            row.get(0)
        })
        .map_err(|_| StoreError::Foreign(file.to_owned()))?;
    let faults = integrity::faults(&source)?;
    if let Some(fault) = faults.first() {
        return Err(failed(format!(
            "it is damaged ({fault}); take another backup"
        )));
    }
    // A link stays a link.
    let place = database.canonicalize().unwrap_or(database.to_owned());
    let part = part_of(&source, file, &place).map_err(|error| match error {
        StoreError::NotCopied { reason, .. } => failed(reason),
        other => other,
    })?;
    give_to_owner_of_folder(&part, database).map_err(system)?;
    let kept = set_aside(&place, mark).map_err(system)?;
    if let Err(error) = part.persist(&place) {
        return Err(system(error.error));
    }
    sync_folder(&place).map_err(system)?;
    lock.remember(&install).map_err(system)?;
    give_to_owner_of_folder(&beside(database, ".lock"), database).map_err(system)?;
    Ok(Restored { schema, kept })
}

/// Opens a backup for reading, also one in a folder that cannot be written to.
fn open_backup(file: &Path) -> Result<Connection, StoreError> {
    let readable = |connection: &Connection| {
        let sql = "SELECT count(*) FROM sqlite_schema";
        connection.query_row(sql, [], |row| row.get::<_, i64>(0))
    };
    let mut connection = open_read_only(file)?;
    wait_for_others(&mut connection)?;
    let has_log = beside(file, "-wal")
        .metadata()
        .is_ok_and(|log| log.len() > 0);
    match readable(&connection) {
        Err(error)
            if error.sqlite_error_code() == Some(rusqlite::ErrorCode::CannotOpen) && !has_log =>
        {
            let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
            let name = file.display().to_string();
            let name = name
                .replace('%', "%25")
                .replace('?', "%3f")
                .replace('#', "%23");
            let uri = format!("file:{name}?immutable=1");
            Ok(Connection::open_with_flags(uri, flags)?)
        }
        // What else is wrong shows when it is looked at.
        _ => Ok(connection),
    }
}

/// Gives the present database, with its log if that cannot be written into it, another name.
///
/// The old file keeps its place until the new one takes it, so that a stop between leaves one of them.
fn set_aside(database: &Path, mark: &str) -> std::io::Result<Option<PathBuf>> {
    if !database.try_exists()? {
        return remove_remains(database).map(|()| None);
    }
    let kept = beside(database, &format!(".replaced-{mark}"));
    // A damaged database may not take its log; then the log goes with it.
    let checkpointed = Connection::open(database).and_then(|mut connection| {
        wait_for_others(&mut connection)?;
        connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| {
            row.get::<_, i64>(0)
        })
    });
    std::fs::hard_link(database, &kept)?;
    let log = beside(database, "-wal");
    if checkpointed != Ok(0) && log.metadata().is_ok_and(|log| log.len() > 0) {
        std::fs::hard_link(&log, beside(&kept, "-wal"))?;
    }
    remove_remains(database)?;
    Ok(Some(kept))
}

/// SQLite would read a log that is left behind into the database that takes the place.
fn remove_remains(database: &Path) -> std::io::Result<()> {
    for ending in ["-wal", "-shm"] {
        match std::fs::remove_file(beside(database, ending)) {
            Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    Ok(())
}

/// What the administrator restores belongs to the service all the same.
fn give_to_owner_of_folder(path: &Path, database: &Path) -> std::io::Result<()> {
    if !rustix::process::geteuid().is_root() {
        return Ok(());
    }
    let owner = match database.metadata() {
        Ok(present) => present,
        Err(_) => folder_of(database).metadata()?,
    };
    std::os::unix::fs::chown(path, Some(owner.uid()), Some(owner.gid()))
}
