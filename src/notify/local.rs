//! Messages that stay in the house: printed, or appended to a file.

use super::{Parcel, SendError};
use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

/// A message as it is printed: who and how, title, text.
pub fn as_text(to: &str, parcel: &Parcel) -> String {
    format!(
        "{} · to {to}\n{}\n\n{}\n\n",
        parcel.created_at.format("%-d %B %Y"),
        parcel.title,
        parcel.text.trim_end()
    )
}

/// Writes a message to an output such as the terminal.
///
/// # Errors
/// [`SendError::Transient`] if the output does not take it.
pub fn print(output: &mut dyn Write, to: &str, parcel: &Parcel) -> Result<(), SendError> {
    output
        .write_all(as_text(to, parcel).as_bytes())
        .and_then(|()| output.flush())
        .map_err(|error| SendError::Transient(format!("the output does not take it: {error}")))
}

/// Appends a message to a file that only its owner can read.
///
/// # Errors
/// [`SendError::Transient`] if the file cannot be written.
pub fn append(path: &Path, to: &str, parcel: &Parcel) -> Result<(), SendError> {
    let mut options = OpenOptions::new();
    options.create(true).append(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let write = || -> std::io::Result<()> {
        if let Some(folder) = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty())
        {
            std::fs::create_dir_all(folder)?;
        }
        let mut file = options.open(path)?;
        file.write_all(as_text(to, parcel).as_bytes())?;
        file.sync_data()
    };
    write().map_err(|error| {
        SendError::Transient(format!("{} cannot be written: {error}", path.display()))
    })
}
