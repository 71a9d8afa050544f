//! Folders that are written to: there, or to be made, and writable.

use super::{AS_SERVICE_USER, Defect};
use crate::config::problem::Severity;
use rustix::fs::{Access, access};
use rustix::io::Errno;
use std::io::ErrorKind;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::Path;

/// The folder that a file stands in.
pub fn folder_of(file: &Path) -> &Path {
    file.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// Whether a file belongs to whoever looks, or they may look at everything.
pub(super) fn is_mine(path: &Path) -> bool {
    let me = rustix::process::geteuid();
    me.is_root()
        || path
            .metadata()
            .is_ok_and(|found| found.uid() == me.as_raw())
}

/// Whose the database is, or its folder: the user that the service runs as.
pub(super) fn service_user(database: &Path) -> Option<u32> {
    let found = database
        .metadata()
        .or_else(|_| folder_of(database).metadata());
    found.ok().map(|found| found.uid())
}

/// What is wrong with the database's file and folder. The file is not opened.
pub(super) fn look_at_database(path: &Path) -> Vec<Defect> {
    let shown = path.display();
    let mut faults = Vec::new();
    match path.metadata() {
        Ok(found) if !found.is_file() => {
            let text = format!("{shown}: not a regular file; name a file for the database");
            return vec![(Severity::Error, text)];
        }
        Ok(found) => {
            let mode = found.permissions().mode() & 0o777;
            if mode & 0o077 != 0 {
                let text = format!(
                    "{shown}: open to others than its owner (mode {mode:03o}), who could read all \
                     messages; run: chmod 600 '{shown}'"
                );
                faults.push((Severity::Warning, text));
            }
            faults.extend(may(path, Access::READ_OK | Access::WRITE_OK));
        }
        Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {}
        Err(error) => {
            let text = format!("{shown}: cannot be looked at ({error}); {AS_SERVICE_USER}");
            return vec![(Severity::Warning, text)];
        }
    }
    faults.extend(look_at_folder(folder_of(path)));
    faults
}

/// What is wrong with a text file that messages are appended to.
pub(super) fn look_at_text_file(path: &Path) -> Option<Defect> {
    match path.metadata() {
        Ok(found) if !found.is_file() => Some((
            Severity::Error,
            format!("{}: not a regular file; name one", path.display()),
        )),
        Ok(_) => may(path, Access::WRITE_OK),
        Err(_) => look_at_folder(folder_of(path)),
    }
}

/// What is wrong with a folder that files are made in; one that is not there is made by the service.
fn look_at_folder(folder: &Path) -> Option<Defect> {
    let shown = folder.display();
    match folder.metadata() {
        Ok(found) if found.is_dir() => may(folder, Access::WRITE_OK | Access::EXEC_OK),
        Ok(_) => Some((Severity::Error, format!("{shown}: not a folder"))),
        Err(error) if error.kind() == ErrorKind::NotADirectory => Some((
            Severity::Error,
            format!("{shown}: a part of this path is not a folder"),
        )),
        Err(error) if error.kind() == ErrorKind::NotFound => {
            let above = folder.ancestors().skip(1).find(|above| above.exists())?;
            access(above, Access::WRITE_OK | Access::EXEC_OK).err()?;
            Some((
                Severity::Warning,
                format!(
                    "{shown}: not there yet, and this user may not make it; systemd makes \
                     /var/lib/hatchbell, any other folder make yourself"
                ),
            ))
        }
        Err(error) => Some((
            Severity::Warning,
            format!("{shown}: cannot be looked at ({error}); {AS_SERVICE_USER}"),
        )),
    }
}

/// Why whoever looks may not use something, if so.
fn may(path: &Path, how: Access) -> Option<Defect> {
    let shown = path.display();
    match access(path, how).err()? {
        Errno::ROFS => Some((
            Severity::Error,
            format!("{shown}: on a disk that is mounted read-only; name another place"),
        )),
        Errno::ACCESS if !is_mine(path) => Some((
            Severity::Warning,
            format!("{shown}: cannot be written by this user; {AS_SERVICE_USER}"),
        )),
        error => Some((
            Severity::Error,
            format!("{shown}: cannot be written ({error}); run: chmod u+rwX '{shown}'"),
        )),
    }
}
