//! What a configuration names outside of itself, and where: files, folders and secrets of this machine.

use super::problem::{Problem, Severity};
use crate::secret::SecretSource;
use std::path::PathBuf;

/// A key that names something outside of the configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mention {
    /// The file as it was named.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What is named.
    pub what: Mentioned,
}

/// What is named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mentioned {
    /// A file or folder.
    Path {
        /// The key that names it.
        key: &'static str,
        /// Where it is.
        path: PathBuf,
    },
    /// A password or token.
    Secret(SecretSource),
}

impl Mention {
    /// A problem with what is named.
    pub fn problem(&self, severity: Severity, text: String) -> Problem {
        Problem {
            file: self.file.clone(),
            line: self.line,
            column: self.column,
            severity,
            text,
            from: None,
            whose: None,
        }
    }
}
