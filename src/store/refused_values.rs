//! What a feed said that was taken back: it is not taken in again until the feed says something else.

use super::StoreError;
use super::taking_in::{SAME, Said};
use super::year_of_changes::{Measured, ValueChange, YearOfChanges};
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::Readings;
use crate::station_feed::parsed::Element;
use chrono::{Datelike, NaiveDate};
use rusqlite::{Transaction, params};
use std::collections::{BTreeMap, BTreeSet};

/// What is refused of a station. What was said stands where a change has what was before; a value that
/// was withdrawn says nothing.
#[derive(Debug, Default)]
pub(super) struct RefusedValues {
    years: BTreeMap<i32, YearOfChanges>,
    changed: BTreeSet<i32>,
}

/// What is left of a file.
#[derive(Debug, Default)]
pub(super) struct Remaining {
    pub readings: Readings,
    pub rain: Rain,
    pub failed: Vec<(NaiveDate, Element)>,
    /// Values that were left out.
    pub left_out: usize,
}

impl Remaining {
    pub fn said(&self) -> Said<'_> {
        Said {
            readings: &self.readings,
            rain: &self.rain,
            failed: &self.failed,
        }
    }
}

impl RefusedValues {
    /// As they are stored.
    pub fn load(transaction: &Transaction<'_>, station: &str) -> Result<Self, StoreError> {
        let mut statement =
            transaction.prepare_cached("SELECT year, said FROM refused_year WHERE station = ?1")?;
        let mut rows = statement.query([station])?;
        let mut refused = Self::default();
        while let Some(row) = rows.next()? {
            let (year, bytes): (i32, Vec<u8>) = (row.get(0)?, row.get(1)?);
            let said = YearOfChanges::unpacked(year, &bytes)?;
            refused.years.insert(year, said);
        }
        Ok(refused)
    }

    pub fn is_empty(&self) -> bool {
        self.years.is_empty()
    }

    /// Stores what has changed of them.
    pub fn save(&self, transaction: &Transaction<'_>, station: &str) -> Result<(), StoreError> {
        for year in &self.changed {
            let said = self.years.get(year).filter(|said| !said.is_empty());
            match said {
                Some(said) => transaction
                    .prepare_cached(
                        "INSERT INTO refused_year (station, year, said) VALUES (?1, ?2, ?3)
                         ON CONFLICT (station, year) DO UPDATE SET said = excluded.said",
                    )?
                    .execute(params![station, year, said.packed()])?,
                None => transaction
                    .prepare_cached("DELETE FROM refused_year WHERE station = ?1 AND year = ?2")?
                    .execute(params![station, year])?,
            };
        }
        Ok(())
    }

    /// Refuses what was said of a value, or that it was withdrawn.
    pub fn refuse(&mut self, day: NaiveDate, of: Measured, said: Option<f64>) {
        let is_known = true;
        let change = ValueChange {
            was: said,
            is_known,
        };
        self.year(day).put(day, of, change);
    }

    /// Refuses nothing of a value any more.
    pub fn accept(&mut self, day: NaiveDate, of: Measured) {
        if self.years.contains_key(&day.year()) {
            self.year(day).forget(day, of);
        }
    }

    /// Accepts everything that someone brings by hand.
    pub fn accept_all(&mut self, said: Said<'_>) {
        for day in said.readings.keys() {
            self.accept(*day, Measured::Min);
            self.accept(*day, Measured::Max);
        }
        for day in said.rain.keys() {
            self.accept(*day, Measured::Rain);
        }
        for (day, element) in said.failed {
            self.accept(*day, Measured::from(*element));
        }
    }

    /// What a feed says without what is refused. Where it says something else than what was refused,
    /// that is taken in and nothing is refused there any more.
    pub fn without_refused(&mut self, said: Said<'_>) -> Remaining {
        let mut remaining = Remaining::default();
        for (day, reading) in said.readings {
            let mut left = *reading;
            left.min = self.remaining(*day, Measured::Min, left.min, &mut remaining);
            left.max = self.remaining(*day, Measured::Max, left.max, &mut remaining);
            if left.min.is_some() || left.max.is_some() {
                remaining.readings.insert(*day, left);
            }
        }
        for (day, mm) in said.rain {
            if let Some(mm) = self.remaining(*day, Measured::Rain, Some(*mm), &mut remaining) {
                remaining.rain.insert(*day, mm);
            }
        }
        for (day, element) in said.failed {
            let of = Measured::from(*element);
            match self.refused(*day, of) {
                Some(None) => remaining.left_out += 1,
                refused => {
                    if refused.is_some() {
                        self.accept(*day, of);
                    }
                    remaining.failed.push((*day, *element));
                }
            }
        }
        remaining
    }

    fn remaining(
        &mut self,
        day: NaiveDate,
        of: Measured,
        value: Option<f64>,
        remaining: &mut Remaining,
    ) -> Option<f64> {
        let value = value?;
        match self.refused(day, of) {
            Some(Some(refused)) if (refused - value).abs() < SAME => {
                remaining.left_out += 1;
                return None;
            }
            Some(_) => self.accept(day, of),
            None => {}
        }
        Some(value)
    }

    /// What is refused of a value, if anything is.
    fn refused(&self, day: NaiveDate, of: Measured) -> Option<Option<f64>> {
        let said = self.years.get(&day.year())?.of(day, of)?;
        Some(said.was)
    }

    fn year(&mut self, day: NaiveDate) -> &mut YearOfChanges {
        let year = day.year();
        self.changed.insert(year);
        let empty = || YearOfChanges::empty(year);
        self.years.entry(year).or_insert_with(empty)
    }
}
