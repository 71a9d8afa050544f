//! What a batch changed of a station's year, as one value of the database: runs of days with what was
//! there before, so that a whole year that was added takes fifteen bytes and a single value as many.

use super::StoreError;
use crate::station_feed::parsed::Element;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// Days of a leap year.
const SLOTS: u16 = 366;

/// Bytes of a run before its old values: its first slot, how many, and what happened.
const HEAD: usize = 5;

/// Bytes of an old value: 64 bits, little-endian.
const BYTES: usize = size_of::<f64>();

/// What is measured of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Measured {
    /// The minimum, °C.
    Min,
    /// The maximum, °C.
    Max,
    /// Rain, mm.
    Rain,
}

impl Measured {
    const ALL: [Measured; 3] = [Measured::Min, Measured::Max, Measured::Rain];
}

impl From<Element> for Measured {
    fn from(element: Element) -> Self {
        match element {
            Element::Min => Self::Min,
            Element::Max => Self::Max,
        }
    }
}

/// What became of a value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ValueChange {
    /// What was there before; nothing where it was added.
    pub was: Option<f64>,
    /// Whether there is a value since; there is none where it was taken away.
    pub is_known: bool,
}

/// The changes of a calendar year.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct YearOfChanges {
    year: i32,
    /// By slot: the days of the minimum, then those of the maximum, then those of the rain.
    changes: BTreeMap<u16, ValueChange>,
}

impl YearOfChanges {
    /// A year in which nothing has changed.
    pub fn empty(year: i32) -> Self {
        Self {
            year,
            changes: BTreeMap::new(),
        }
    }

    /// Which year it is.
    pub fn year(&self) -> i32 {
        self.year
    }

    /// Whether nothing has changed.
    pub fn is_empty(&self) -> bool {
        self.changes.is_empty()
    }

    /// Notes that a value became another, after what is noted of it already.
    pub fn note(&mut self, day: NaiveDate, of: Measured, was: Option<f64>, is: Option<f64>) {
        let slot = slot(day, of);
        let was = self.changes.get(&slot).map_or(was, |before| before.was);
        if was.map(f64::to_bits) == is.map(f64::to_bits) {
            self.changes.remove(&slot);
            return;
        }
        let is_known = is.is_some();
        self.changes.insert(slot, ValueChange { was, is_known });
    }

    /// Puts a change in the place of what is noted of the value.
    pub fn put(&mut self, day: NaiveDate, of: Measured, change: ValueChange) {
        self.changes.insert(slot(day, of), change);
    }

    /// Forgets what is noted of a value.
    pub fn forget(&mut self, day: NaiveDate, of: Measured) {
        self.changes.remove(&slot(day, of));
    }

    /// What became of a value, if anything did.
    pub fn of(&self, day: NaiveDate, of: Measured) -> Option<ValueChange> {
        self.changes.get(&slot(day, of)).copied()
    }

    /// The days of which something has changed, in order.
    pub fn days(&self) -> Vec<NaiveDate> {
        let mut ordinals: Vec<u16> = self.changes.keys().map(|slot| slot % SLOTS).collect();
        ordinals.sort_unstable();
        ordinals.dedup();
        ordinals
            .into_iter()
            .filter_map(|ordinal| NaiveDate::from_yo_opt(self.year, u32::from(ordinal) + 1))
            .collect()
    }

    /// What was noted later, after this.
    pub fn then(&mut self, later: &Self) {
        for (slot, change) in &later.changes {
            let was = self
                .changes
                .get(slot)
                .map_or(change.was, |before| before.was);
            if was.is_none() && !change.is_known {
                self.changes.remove(slot);
            } else {
                let is_known = change.is_known;
                self.changes.insert(*slot, ValueChange { was, is_known });
            }
        }
    }

    /// As it is stored.
    pub fn packed(&self) -> Vec<u8> {
        let mut runs: Vec<(u16, Vec<ValueChange>)> = Vec::new();
        for (slot, change) in &self.changes {
            match runs.last_mut() {
                Some((first, run))
                    if usize::from(*slot - *first) == run.len()
                        && run.first().map(kind) == Some(kind(change)) =>
                {
                    run.push(*change);
                }
                _ => runs.push((*slot, vec![*change])),
            }
        }
        let mut bytes = Vec::new();
        for (first, run) in runs {
            bytes.extend(first.to_le_bytes());
            bytes.extend((run.len() as u16).to_le_bytes());
            bytes.extend(run.first().map(kind));
            bytes.extend(run.iter().filter_map(|c| c.was).flat_map(f64::to_le_bytes));
        }
        bytes
    }

    /// From what is stored.
    ///
    /// # Errors
    /// [`StoreError::Value`] if it is damaged.
    pub fn unpacked(year: i32, bytes: &[u8]) -> Result<Self, StoreError> {
        let damaged = || StoreError::Value {
            value: format!("{} bytes", bytes.len()),
            wanted: "the changes of a year",
        };
        let mut changes = BTreeMap::new();
        let mut rest = bytes;
        while !rest.is_empty() {
            let (head, values) = rest.split_at_checked(HEAD).ok_or_else(damaged)?;
            let first = u16::from_le_bytes([head[0], head[1]]);
            let count = u16::from_le_bytes([head[2], head[3]]);
            let (has_old, is_known) = match head[4] {
                ADDED => (false, true),
                REVISED => (true, true),
                REMOVED => (true, false),
                _ => return Err(damaged()),
            };
            let end = first.checked_add(count).ok_or_else(damaged)?;
            if end > Measured::ALL.len() as u16 * SLOTS {
                return Err(damaged());
            }
            let length = if has_old {
                usize::from(count) * BYTES
            } else {
                0
            };
            let (values, after) = values.split_at_checked(length).ok_or_else(damaged)?;
            let (values, _) = values.as_chunks::<BYTES>();
            for (place, slot) in (first..end).enumerate() {
                let was = values.get(place).map(|bytes| f64::from_le_bytes(*bytes));
                changes.insert(slot, ValueChange { was, is_known });
            }
            rest = after;
        }
        Ok(Self { year, changes })
    }
}

const ADDED: u8 = 1;
const REVISED: u8 = 2;
const REMOVED: u8 = 3;

fn kind(change: &ValueChange) -> u8 {
    match (change.was, change.is_known) {
        (None, _) => ADDED,
        (Some(_), true) => REVISED,
        (Some(_), false) => REMOVED,
    }
}

fn slot(day: NaiveDate, of: Measured) -> u16 {
    of as u16 * SLOTS + day.ordinal0() as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(ordinal: u32) -> NaiveDate {
        NaiveDate::from_yo_opt(2024, ordinal).unwrap()
    }

    #[test]
    fn changes_are_read_as_they_were_written() {
        let mut year = YearOfChanges::empty(2024);
        for ordinal in 1..=366 {
            year.note(day(ordinal), Measured::Max, None, Some(20.0));
        }
        year.note(day(366), Measured::Min, Some(0.1 + 0.2), Some(1.0));
        year.note(day(1), Measured::Rain, Some(-0.0), None);
        year.note(day(2), Measured::Rain, Some(3.0), None);
        year.note(day(3), Measured::Rain, Some(3.0), Some(4.0));
        let again = YearOfChanges::unpacked(2024, &year.packed()).unwrap();
        assert_eq!(again, year);
        assert_eq!(again.days().len(), 366);
        assert_eq!(
            again.of(day(366), Measured::Min).unwrap().was,
            Some(0.1 + 0.2)
        );
    }

    #[test]
    fn a_year_that_was_added_takes_fifteen_bytes() {
        let mut year = YearOfChanges::empty(2023);
        for ordinal in 1..=365 {
            let day = NaiveDate::from_yo_opt(2023, ordinal).unwrap();
            for of in Measured::ALL {
                year.note(day, of, None, Some(f64::from(ordinal)));
            }
        }
        assert_eq!(year.packed().len(), 3 * HEAD);
    }

    #[test]
    fn what_goes_back_to_what_it_was_is_no_change() {
        let mut year = YearOfChanges::empty(2024);
        year.note(day(5), Measured::Max, Some(20.0), Some(30.0));
        year.note(day(5), Measured::Max, Some(30.0), None);
        let change = year.of(day(5), Measured::Max).unwrap();
        assert_eq!((change.was, change.is_known), (Some(20.0), false));
        year.note(day(5), Measured::Max, None, Some(20.0));
        year.note(day(6), Measured::Min, None, Some(1.0));
        year.note(day(6), Measured::Min, Some(1.0), None);
        assert!(year.is_empty());
    }

    #[test]
    fn damaged_changes_are_refused() {
        let mut year = YearOfChanges::empty(2024);
        year.note(day(5), Measured::Max, Some(20.0), Some(30.0));
        let bytes = year.packed();
        let mut of_no_kind = bytes.clone();
        of_no_kind[4] = 9;
        let mut too_far = bytes.clone();
        too_far[..2].copy_from_slice(&1_098_u16.to_le_bytes());
        for damaged in [
            &bytes[..bytes.len() - 1],
            &bytes[..3],
            &of_no_kind,
            &too_far,
        ] {
            let error = YearOfChanges::unpacked(2024, damaged).unwrap_err();
            assert!(
                error.to_string().contains("the changes of a year"),
                "{error}"
            );
        }
    }
}
