//! What is remembered of a feed between two of its files.

use super::parsed::{Element, Parsed};
use crate::domain::weather::reading::Readings;
use chrono::{DateTime, NaiveDate, Utc};

/// What a file looked like: what later ones are held against.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileProfile {
    /// Rows.
    pub rows: usize,
    /// Days with both extremes.
    pub days: usize,
    /// The first of these days.
    pub first: Option<NaiveDate>,
    /// The newest of these days.
    pub newest: Option<NaiveDate>,
    /// Names in the header, in order; blank ones where a file has no header.
    pub header: Vec<String>,
}

impl FileProfile {
    /// How a parsed file looks.
    pub fn of(parsed: &Parsed, header: Vec<String>) -> Self {
        let mut whole = whole_days(&parsed.readings);
        let first = whole.next();
        let last = whole.next_back();
        Self {
            rows: parsed.rows,
            days: whole_days(&parsed.readings).count(),
            first,
            newest: last.or(first),
            header,
        }
    }
}

/// Days with both extremes.
pub fn whole_days(readings: &Readings) -> impl DoubleEndedIterator<Item = NaiveDate> {
    readings
        .iter()
        .filter(|(_, reading)| reading.extremes().is_some())
        .map(|(day, _)| *day)
}

/// A value that is held out of sums.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldValue {
    /// Its day.
    pub day: NaiveDate,
    /// Which extreme.
    pub element: Element,
    /// What the file says, °C.
    pub celsius: f64,
    /// When it was first held.
    pub since: DateTime<Utc>,
}
