//! Real station files, which are not committed: a folder that `HATCHBELL_REAL_DATA` names. Tests
//! that read some are ignored by a plain `cargo test`; `tests/run` runs them where it has a folder.

use std::path::PathBuf;

/// The folder.
pub fn folder() -> PathBuf {
    std::env::var_os("HATCHBELL_REAL_DATA")
        .map(PathBuf::from)
        .expect("this test needs HATCHBELL_REAL_DATA: a folder of real station files")
}

/// A file of the folder.
pub fn read(file: &str) -> Vec<u8> {
    let path = folder().join(file);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}
