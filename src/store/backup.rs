//! Backups: the database as one file, while the service runs.

use super::busy::wait_for_others;
use super::copy::{not_copied, part_of, sync_folder, system_words};
use super::running::beside;
use super::{Store, StoreError, is_of_hatchbell, schema};
use std::io::ErrorKind;
use std::path::Path;

pub use super::copy::{free_bytes, kept_copies};

/// A backup that was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Backup {
    /// Its size.
    pub bytes: u64,
    /// Its schema.
    pub schema: i64,
}

/// Writes the database as it is at this moment into a file that only its owner can read. A file of
/// that name is overwritten only if asked, and then at once or not at all.
///
/// # Errors
/// [`StoreError::NotCopied`] if the file is there, cannot be written or has no room; other
/// [`StoreError`]s if the database cannot be read, is damaged, or comes from a newer program.
pub fn back_up(database: &Path, file: &Path, overwrite: bool) -> Result<Backup, StoreError> {
    let failed = |reason: &str| not_copied(database, file, reason);
    let is_own = |ending| same_file(file, &beside(database, ending));
    if ["", "-wal", "-shm", ".lock"].into_iter().any(is_own) {
        return Err(failed("that is the database itself; name another file"));
    }
    match file.symlink_metadata() {
        Ok(found) if found.is_dir() => {
            return Err(failed("that is a folder; name a file in it"));
        }
        Ok(_) if !overwrite => {
            return Err(failed(
                "that file is there already; name another one, or add --overwrite",
            ));
        }
        _ => {}
    }
    let mut connection = Store::connection_to_read(database)?;
    wait_for_others(&mut connection)?;
    is_of_hatchbell(&connection, database)?;
    let schema = schema::check_version(&connection, database)?;
    let part = part_of(&connection, database, file)?;
    let system = |error: &std::io::Error| failed(&system_words(error));
    let bytes = part.metadata().map_err(|error| system(&error))?.len();
    let named = match overwrite {
        true => part.persist(file),
        false => part.persist_noclobber(file),
    };
    named.map_err(|error| match error.error.kind() {
        ErrorKind::AlreadyExists => failed("that file came into being meanwhile; name another one"),
        _ => system(&error.error),
    })?;
    sync_folder(file).map_err(|error| system(&error))?;
    Ok(Backup { bytes, schema })
}

/// Whether two paths lead to the same file.
pub(super) fn same_file(one: &Path, other: &Path) -> bool {
    match (one.canonicalize(), other.canonicalize()) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}
