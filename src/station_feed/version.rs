//! By what one version of a file is told from another.

use std::path::PathBuf;

/// What tells one version of a file from another.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Validators {
    /// The server's `ETag`, quotes included; for files a text made of size and modification time.
    pub etag: Option<String>,
    /// The server's `Last-Modified`, as it came.
    pub last_modified: Option<String>,
}

/// By what a file is known again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileMark {
    /// Its whole path.
    pub path: PathBuf,
    /// Its size as it lies on the disk.
    pub bytes: u64,
    /// When it was last changed, seconds since 1970 with nanoseconds.
    pub modified: String,
}
