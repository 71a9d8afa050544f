//! What is refused of a file row by row, and why.

use super::quote::quoted;
use std::collections::BTreeMap;
use std::fmt;

/// Most characters of a refused field that are kept.
const LONGEST_FIELD: usize = 100;

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

impl RefusedRow {
    /// A refused row; its field is made fit to print.
    pub fn new(line: u64, why: Why, field: &str) -> Self {
        Self {
            line,
            why,
            field: quoted(field, LONGEST_FIELD),
        }
    }
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
    /// The wind speed is no number, or none that wind can have.
    Wind,
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
            Why::Wind => "no wind speed",
        })
    }
}

impl fmt::Display for RefusedRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {} ({})", self.line, self.why, self.field)
    }
}

/// Refused rows by reason: the first few, and how many.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Refusals {
    by_reason: BTreeMap<Why, (usize, Vec<RefusedRow>)>,
}

impl Refusals {
    /// Refused rows that are kept for each reason; more are only counted.
    pub const SHOWN: usize = 5;

    /// Adds a row; its field is asked for only if the row is kept.
    pub fn add(&mut self, line: u64, why: Why, field: impl FnOnce() -> String) {
        let (count, first) = self.by_reason.entry(why).or_default();
        *count += 1;
        if first.len() < Self::SHOWN {
            first.push(RefusedRow::new(line, why, &field()));
        }
    }

    /// Adds what was refused further on.
    pub fn append(&mut self, more: Refusals) {
        for (why, (count, first)) in more.by_reason {
            let (known, shown) = self.by_reason.entry(why).or_default();
            *known += count;
            let room = Self::SHOWN.saturating_sub(shown.len());
            shown.extend(first.into_iter().take(room));
        }
    }

    /// How many there are, these reasons left out.
    pub fn count_without(&self, reasons: &[Why]) -> usize {
        let counted = self.by_reason.iter();
        counted
            .filter(|(why, _)| !reasons.contains(why))
            .map(|(_, (count, _))| count)
            .sum()
    }

    /// How many there are for a reason.
    pub fn count(&self, why: Why) -> usize {
        self.by_reason.get(&why).map_or(0, |(count, _)| *count)
    }

    /// A line of text for each reason.
    pub fn lines(&self) -> impl Iterator<Item = String> {
        self.by_reason.iter().map(|(why, (count, first))| {
            let shown: Vec<String> = first
                .iter()
                .map(|row| format!("line {} ({})", row.line, row.field))
                .collect();
            let more = match count - first.len() {
                0 => String::new(),
                more => format!(", and {more} more"),
            };
            format!("{why}: {}{more}", shown.join(", "))
        })
    }
}

impl Extend<RefusedRow> for Refusals {
    fn extend<I: IntoIterator<Item = RefusedRow>>(&mut self, rows: I) {
        for row in rows {
            self.add(row.line, row.why, || row.field);
        }
    }
}

impl fmt::Display for Refusals {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lines: Vec<String> = self.lines().collect();
        f.write_str(&lines.join("; "))
    }
}
