//! Files of stations: readable, and of the dialect that is configured.

use super::folders::{folder_of, is_mine};
use super::{AS_SERVICE_USER, Defect};
use crate::config::problem::Severity;
use crate::feed::reader::{look_at_file, read_normals};
use crate::station_feed::dialect::Binding;
use std::io::ErrorKind;
use std::path::Path;

/// What is wrong with a file of normals: without it a station with no past has no dates.
pub(super) fn look_at_normals(path: &Path) -> Option<Defect> {
    let problem = read_normals(path).err()?;
    Some((Severity::Error, problem.to_string()))
}

/// What is wrong with a station's file.
pub(super) fn look(path: &Path, binding: &Binding) -> Option<Defect> {
    match std::fs::File::open(path) {
        Ok(_) => {
            let problem = look_at_file(path, binding).err()?;
            Some((Severity::Error, problem.to_string()))
        }
        Err(error) if error.kind() == ErrorKind::NotFound && !folder_of(path).exists() => Some((
            Severity::Error,
            format!(
                "{}: there is no such file, and no folder {} either; check the path, or make the folder",
                path.display(),
                folder_of(path).display()
            ),
        )),
        // Whatever writes it may not have begun.
        Err(error) if error.kind() == ErrorKind::NotFound => Some((
            Severity::Warning,
            format!(
                "{}: there is no such file; days arrive once there is",
                path.display()
            ),
        )),
        Err(error) if error.kind() == ErrorKind::PermissionDenied && !is_mine(path) => Some((
            Severity::Warning,
            format!(
                "{}: cannot be read by this user; {AS_SERVICE_USER}",
                path.display()
            ),
        )),
        Err(error) => Some((
            Severity::Error,
            format!("{}: cannot be read ({error})", path.display()),
        )),
    }
}
