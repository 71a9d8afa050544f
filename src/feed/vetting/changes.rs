//! What a file would change of what is stored: said before it is taken all the same.

use super::full_date;
use super::stored_days::both;
use crate::domain::weather::reading::{Reading, Readings};
use chrono::NaiveDate;
use std::fmt;

/// Differences below this are the same reading written differently, °C.
const SAME_C: f64 = 0.005;

/// What a file would change.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FileChanges {
    /// Days that are not stored yet.
    added: usize,
    /// By how much values change, °C, in ascending order.
    changed_c: Vec<f64>,
    /// First and last day with such a value.
    span: Option<(NaiveDate, NaiveDate)>,
}

impl FileChanges {
    /// Of a file's readings and what is stored.
    pub fn of(readings: &Readings, stored: &Readings) -> Self {
        let mut changes = Self::default();
        for (day, new) in readings {
            let Some(known) = stored.get(day) else {
                changes.added += 1;
                continue;
            };
            let before = changes.changed_c.len();
            changes.changed_c.extend(differences(new, known));
            if changes.changed_c.len() > before {
                let first = changes.span.map_or(*day, |(first, _)| first);
                changes.span = Some((first, *day));
            }
        }
        changes.changed_c.sort_by(f64::total_cmp);
        changes
    }

    /// Whether any stored value becomes another.
    pub fn changes_values(&self) -> bool {
        self.span.is_some()
    }
}

fn differences(new: &Reading, known: &Reading) -> impl Iterator<Item = f64> {
    both(new, known)
        .into_iter()
        .flatten()
        .map(|(new, known)| (new - known).abs())
        .filter(|by| *by >= SAME_C)
}

impl fmt::Display for FileChanges {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = |count: usize| if count == 1 { "" } else { "s" };
        write!(f, "{} day{} to add, ", self.added, s(self.added))?;
        let count = self.changed_c.len();
        let (Some((first, last)), Some(largest)) = (self.span, self.changed_c.last()) else {
            return f.write_str("no stored value to change");
        };
        write!(
            f,
            "{count} stored value{} to change by {:.1} °C (median) and up to {largest:.1}, from {} to {}",
            s(count),
            self.changed_c[count / 2],
            full_date(first),
            full_date(last)
        )
    }
}
