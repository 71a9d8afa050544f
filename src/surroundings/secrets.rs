//! Passwords and tokens: there, readable, closed to others, not empty.

use super::folders::is_mine;
use super::{AS_SERVICE_USER, Defect};
use crate::config::problem::Severity;
use crate::secret::{SecretError, SecretSource};
use std::io::ErrorKind;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// What is wrong with a secret. `service_user` is whose the database is.
pub(super) fn look(source: &SecretSource, service_user: Option<u32>) -> Option<Defect> {
    match (source.load(), source) {
        (Ok(_), SecretSource::File(path)) => belongs_to_another(path, service_user),
        (Ok(_), SecretSource::Credential(_)) => None,
        (Err(SecretError::NoCredentials { name }), _) => Some((
            Severity::Warning,
            format!(
                "systemd hands the credential {name} to the service only, so it cannot be looked at \
                 here; see that the unit has LoadCredential={name}:/path/to/file"
            ),
        )),
        (Err(SecretError::Unreadable { place, cause }), SecretSource::File(path))
            if cause.kind() == ErrorKind::PermissionDenied && !is_mine(path) =>
        {
            let text = format!("{place}: cannot be read by this user; {AS_SERVICE_USER}");
            Some((Severity::Warning, text))
        }
        (Err(error), _) => Some((Severity::Error, error.to_string())),
    }
}

/// A file that only its owner can read is of no use to another user.
fn belongs_to_another(path: &Path, service_user: Option<u32>) -> Option<Defect> {
    let owner = path.metadata().ok()?.uid();
    let user = service_user.filter(|user| *user != owner && *user != 0)?;
    Some((
        Severity::Warning,
        format!(
            "file {}: belongs to user {owner}, and the database to user {user}, who cannot read it; \
             if the service runs as {user}, run: chown {user} '{}'",
            path.display(),
            path.display()
        ),
    ))
}
