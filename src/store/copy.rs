//! Whole copies of a database: one file of one moment, made while others read and write.

use super::running::beside;
use super::schema::version;
use super::{StoreError, integrity};
use rusqlite::{Connection, OpenFlags};
use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::{Path, PathBuf};
use tempfile::{NamedTempFile, TempPath};
use tracing::info;

/// How the names of copies begin while they are made.
const PASSING: &str = ".hatchbell-copy-";

/// Room that is left on the disk beside a copy.
const SPARE_BYTES: u64 = 2 * 1024 * 1024;

/// Copies of one schema that are kept side by side; more are a mistake of another kind.
const MOST_COPIES: u32 = 99;

/// Keeps a copy of the database as it is, beside it: `<database>.before-N`, N being its schema. A copy of
/// that name with the same content is left alone; one with another content keeps its name, and the new
/// one becomes `before-N.2` and so on. None is ever deleted or overwritten.
///
/// # Errors
/// [`StoreError::NotCopied`] if there is no room or no right to write, or the database is damaged.
pub(super) fn keep_before_migration(
    connection: &Connection,
    path: &Path,
    schema: i64,
) -> Result<(), StoreError> {
    let first = beside(path, &format!(".before-{schema}"));
    let copy = part_of(connection, path, &first)?;
    // Somebody else may have migrated it meanwhile; then they have made the copy.
    if version_of(&copy)? != schema {
        return Ok(());
    }
    let failed = |error: io::Error| not_copied(path, &first, &system_words(&error));
    let mut copy = copy;
    for number in 1..=MOST_COPIES {
        let target = match number {
            1 => first.clone(),
            _ => beside(&first, &format!(".{number}")),
        };
        match copy.persist_noclobber(&target) {
            Ok(()) => {
                sync_folder(&target).map_err(failed)?;
                info!(
                    "kept a copy of the database as it was: {}",
                    target.display()
                );
                return Ok(());
            }
            Err(error) if error.error.kind() == ErrorKind::AlreadyExists => copy = error.path,
            Err(error) => return Err(failed(error.error)),
        }
        if same_content(&copy, &target).map_err(failed)? {
            return Ok(());
        }
    }
    Err(not_copied(
        path,
        &first,
        "there are 99 copies of that schema already; move them away",
    ))
}

/// A whole, sound copy under a passing name beside `target`, readable by its owner only and safe on the
/// disk. It is deleted unless it is given a name.
///
/// # Errors
/// As [`keep_before_migration`].
pub(super) fn part_of(
    connection: &Connection,
    path: &Path,
    target: &Path,
) -> Result<TempPath, StoreError> {
    let failed = |reason: &str| not_copied(path, target, reason);
    let folder = folder_of(target);
    check_room(connection, folder).map_err(|reason| failed(&reason))?;
    sweep(folder);
    // Its passing name says nothing to anybody.
    let (being_made, part) = NamedTempFile::with_prefix_in(PASSING, folder)
        .map_err(|error| failed(&system_words(&error.kind().into())))?
        .into_parts();
    let locked = being_made.lock();
    locked.map_err(|error| failed(&system_words(&error)))?;
    let name = part
        .to_str()
        .ok_or_else(|| failed("its folder's name is not UTF-8; give it another place"))?;
    connection
        .execute("VACUUM INTO ?1", [name])
        .map_err(|error| failed(&sqlite_words(&error)))?;
    let faults = integrity::faults(&open_read_only(&part)?)?;
    if let Some(fault) = faults.first() {
        return Err(failed(&format!(
            "the database is damaged ({fault}); restore a backup with hatchbell restore"
        )));
    }
    let synced = File::open(&part).and_then(|file| file.sync_all());
    synced.map_err(|error| failed(&system_words(&error)))?;
    Ok(part)
}

/// Deletes what a program that was killed left of its copies: those that are being made are locked.
fn sweep(folder: &Path) {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    for entry in entries.filter_map(Result::ok) {
        let is_part = entry.file_name().to_string_lossy().starts_with(PASSING);
        let file = is_part.then(|| File::open(entry.path()));
        if file.is_some_and(|file| file.is_ok_and(|file| file.try_lock().is_ok())) {
            // What cannot be deleted takes room, no more.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Whether the disk has room for a copy; if not, in words.
fn check_room(connection: &Connection, folder: &Path) -> Result<(), String> {
    let needed = content_bytes(connection).map_err(|error| sqlite_words(&error))? + SPARE_BYTES;
    let free = free_bytes(folder).map_err(|error| system_words(&error))?;
    if free >= needed {
        return Ok(());
    }
    Err(format!(
        "the disk has {} MB free and {} MB are needed; make room",
        free / 1_000_000,
        needed.div_ceil(1_000_000)
    ))
}

/// Bytes that the content takes, without what deleted rows left behind.
fn content_bytes(connection: &Connection) -> rusqlite::Result<u64> {
    let pragma = |name: &str| {
        connection.query_row(&format!("PRAGMA {name}"), [], |row| {
            row.get(0).map(i64::unsigned_abs)
        })
    };
    let pages = pragma("page_count")?;
    let unused = pragma("freelist_count")?;
    let size = pragma("page_size")?;
    Ok(pages.saturating_sub(unused) * size)
}

/// Bytes that may still be written to a folder's disk.
///
/// # Errors
/// What the system says.
pub fn free_bytes(folder: &Path) -> io::Result<u64> {
    let disk = rustix::fs::statvfs(folder)?;
    Ok(disk.f_bavail.saturating_mul(disk.f_frsize))
}

/// Makes a name in a folder outlast a power cut.
pub(super) fn sync_folder(path: &Path) -> io::Result<()> {
    File::open(folder_of(path))?.sync_all()
}

/// The folder a file stands in.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// Opens a file that nobody writes, without leaving anything beside it.
pub(super) fn open_read_only(path: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Ok(Connection::open_with_flags(path, flags)?)
}

fn version_of(path: &Path) -> Result<i64, StoreError> {
    version(&open_read_only(path)?)
}

fn same_content(one: &Path, other: &Path) -> io::Result<bool> {
    let (one, other) = (File::open(one)?, File::open(other)?);
    if one.metadata()?.len() != other.metadata()?.len() {
        return Ok(false);
    }
    let (mut one, mut other) = (io::BufReader::new(one), io::BufReader::new(other));
    let (mut left, mut right) = ([0; 8192], [0; 8192]);
    loop {
        let read = one.read(&mut left)?;
        if read == 0 {
            return Ok(true);
        }
        match other.read_exact(&mut right[..read]) {
            Ok(()) if left[..read] == right[..read] => {}
            Ok(()) => return Ok(false),
            Err(error) if error.kind() == ErrorKind::UnexpectedEof => return Ok(false),
            Err(error) => return Err(error),
        }
    }
}

pub(super) fn not_copied(path: &Path, to: &Path, reason: &str) -> StoreError {
    StoreError::NotCopied {
        path: path.to_owned(),
        to: to.to_owned(),
        reason: reason.to_owned(),
    }
}

/// What the system said, and what to do.
pub(super) fn system_words(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            format!(
                "{error}; run this as the user the service runs as, and let that user write there"
            )
        }
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => format!("{error}; make room"),
        ErrorKind::NotFound => format!("{error}; make the folder first"),
        _ => error.to_string(),
    }
}

fn sqlite_words(error: &rusqlite::Error) -> String {
    use rusqlite::ErrorCode::{DatabaseCorrupt, DiskFull, NotADatabase, SystemIoFailure};
    match error.sqlite_error_code() {
        Some(SystemIoFailure) => format!("{error}; is the disk full, or failing?"),
        Some(DiskFull) => "the disk is full; make room".to_owned(),
        Some(DatabaseCorrupt | NotADatabase) => {
            format!("the database is damaged ({error}); restore a backup with hatchbell restore")
        }
        _ => error.to_string(),
    }
}

/// Copies that were kept before migrations, with their sizes, by name.
pub fn kept_copies(database: &Path) -> Vec<(PathBuf, u64)> {
    let Some(name) = database.file_name().and_then(|name| name.to_str()) else {
        return Vec::new();
    };
    let start = format!("{name}.before-");
    let Ok(entries) = std::fs::read_dir(folder_of(database)) else {
        return Vec::new();
    };
    let mut copies: Vec<(PathBuf, u64)> = entries
        .filter_map(Result::ok)
        .filter(|entry| entry.file_name().to_string_lossy().starts_with(&start))
        .filter_map(|entry| Some((entry.path(), entry.metadata().ok()?.len())))
        .collect();
    copies.sort();
    copies
}
