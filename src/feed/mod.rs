//! Feeds: from an address to readings that have been looked at.
//!
//! [`fetch`] gets bytes (one bounded GET, or a file). [`crate::station_feed`] says how it
//! is laid out, as data. [`parse`] turns bytes into readings or a [`Rejection`], and [`vetting`] holds them
//! against what is possible, what is stored, the last good file and the station's own climate; these
//! two are pure. [`reader`] ties them together.

use crate::station_feed::quote::quoted;
use std::fmt;

pub mod ahead;
pub mod bulk;
mod codes;
mod day;
pub mod fetch;
mod heading;
pub mod limits;
mod metered;
pub mod normals;
pub mod parse;
mod places;
pub mod reader;
pub mod station_list;
pub mod table;
pub mod trial;
pub mod unpack;
pub mod vetting;

/// Most characters of what is wrong with a file.
const LONGEST_WHAT: usize = 400;

/// Why a whole file was refused. Nothing of it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rejection {
    /// The line it shows on, counted from 1, where there is one.
    pub line: Option<u64>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl Rejection {
    /// A rejection that concerns the file as a whole. What it quotes of the file is made fit to
    /// print.
    pub fn whole(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            line: None,
            what: quoted(&what.into(), LONGEST_WHAT),
            remedy: remedy.into(),
        }
    }

    /// A rejection that shows on a line.
    pub fn at(line: u64, what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            line: Some(line),
            ..Self::whole(what, remedy)
        }
    }
}

impl fmt::Display for Rejection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        write!(f, "{}; {}", self.what, self.remedy)
    }
}
