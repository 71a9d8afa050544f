//! What is written down of the configuration in force: values that `config` and `store` share.

use chrono::{DateTime, Utc};

/// The text of a file of the configuration, as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptFile {
    /// Its whole path.
    pub path: String,
    /// Its text.
    pub text: String,
}

/// A member as they are in force, whatever becomes of their tables.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptMember {
    /// Their id.
    pub id: String,
    /// The whole path of the file with their tables.
    pub file: String,
    /// Their tables as TOML, with every default and every row of a file of sites in them.
    pub text: String,
}

/// A configuration that the service runs with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InForce {
    /// The file it was told to read.
    pub file: String,
    /// A digest of all files.
    pub digest: String,
    /// When it was read.
    pub read_at: DateTime<Utc>,
}

/// A configuration that the service was asked to read and refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// When.
    pub at: DateTime<Utc>,
    /// The first problem.
    pub why: String,
}

/// A mistake that concerns one member, or one file of members, alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The member's id, or the file where no member is known by it.
    pub subject: String,
    /// Whether their last good configuration goes on; else they are left out.
    pub goes_on: bool,
    /// The problems, a line each.
    pub problems: Vec<String>,
}

/// A configuration that was read, with all that is written down of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// The path of its first file, from the root on.
    pub file: String,
    /// A digest of the text of all its files, which another text is unlikely to share.
    pub digest: String,
    /// Its files.
    pub files: Vec<KeptFile>,
    /// Its members as they are in force.
    pub members: Vec<KeptMember>,
    /// What is wrong with some of them.
    pub faults: Vec<Fault>,
}
