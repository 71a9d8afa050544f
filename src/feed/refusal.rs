//! What is refused of a file row by row, and why.

use std::fmt;

/// A row that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedRow {
    /// Its line, counted from 1.
    pub line: u64,
    /// Why.
    pub why: Why,
    /// The field in question, as it stands but for control characters; the start of a long one.
    pub field: String,
}

/// Why a row or a value of it was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// The row has more or fewer fields than the header, or the first row without one.
    Width,
    /// The date is no full date.
    Date,
    /// The date lies in the future.
    Future,
    /// The value is no number.
    NotANumber,
    /// The value lies outside what a thermometer on Earth can show.
    OutOfBounds,
    /// The minimum exceeds the maximum.
    Swapped,
    /// The publisher's quality check failed.
    Flagged,
    /// The same day came before with another value.
    Twice,
    /// The row is not about one day's readings, by a column that the dialect watches.
    OtherKind,
    /// The amount of rain is no number, or none that can fall in a day.
    Rain,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Why::Width => "a wrong number of fields",
            Why::Date => "no full date",
            Why::Future => "a date in the future",
            Why::NotANumber => "not a number",
            Why::OutOfBounds => "outside what air temperature can be",
            Why::Swapped => "the minimum exceeds the maximum",
            Why::Flagged => "failed the publisher's own quality check",
            Why::Twice => "the same day again with another value",
            Why::OtherKind => "not the readings of one day",
            Why::Rain => "no amount of rain",
        })
    }
}

impl fmt::Display for RefusedRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {} ({})", self.line, self.why, self.field)
    }
}
