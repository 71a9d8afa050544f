//! Readings of consecutive days, for everything that is reckoned over whole years: a day is found by
//! its distance from the first one.

use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::reading::{Reading, Readings};
use chrono::{Datelike, Days, NaiveDate};
use std::ops::Index;

/// Readings by day from a first day on. A day of which nothing is known is an empty [`Reading`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DailyReadings {
    first: NaiveDate,
    days: Vec<Reading>,
}

impl DailyReadings {
    /// The day the record begins with; `None` if it is empty.
    pub fn first_day(&self) -> Option<NaiveDate> {
        (!self.days.is_empty()).then_some(self.first)
    }

    /// The day the record ends with; `None` if it is empty.
    pub fn last_day(&self) -> Option<NaiveDate> {
        let more = self.days.len().checked_sub(1)?;
        Some(self.first + Days::new(more as u64))
    }

    /// A day's place in the record, if it lies within.
    fn place(&self, day: NaiveDate) -> Option<usize> {
        let place = day.num_days_from_ce() - self.first.num_days_from_ce();
        let place = usize::try_from(place).ok()?;
        (place < self.days.len()).then_some(place)
    }

    /// What is known of a day.
    pub fn get(&self, day: NaiveDate) -> Reading {
        self.place(day)
            .map_or_else(Reading::default, |place| self.days[place])
    }

    /// A day's extremes, if both are known and make a possible day.
    pub fn extremes(&self, day: NaiveDate) -> Option<Extremes> {
        self.get(day).extremes()
    }

    /// Every day of the record with what is known of it.
    pub fn iter(&self) -> impl Iterator<Item = (NaiveDate, Reading)> + '_ {
        self.between(self.first, NaiveDate::MAX)
    }

    /// What is known of each day of the record from the first one on.
    pub fn in_order(&self) -> &[Reading] {
        &self.days
    }

    /// The days of the record within a span, both ends included.
    pub fn between(
        &self,
        from: NaiveDate,
        to: NaiveDate,
    ) -> impl Iterator<Item = (NaiveDate, Reading)> + '_ {
        let end = match self.last_day() {
            Some(last) if from <= to => self.place(to.min(last)).map_or(0, |place| place + 1),
            _ => 0,
        };
        let start = self.place(from.max(self.first)).unwrap_or(end).min(end);
        let first = self.first + Days::new(start as u64);
        first.iter_days().zip(self.days[start..end].iter().copied())
    }

    /// The days that this record and another one both span, with the readings of both.
    pub fn overlap<'r>(
        &'r self,
        other: &'r Self,
    ) -> impl Iterator<Item = (NaiveDate, Reading, Reading)> + 'r {
        let first = self.first.max(other.first);
        let from = |record: &'r Self| {
            let place = record.place(first).unwrap_or(record.days.len());
            record.days[place..].iter().copied()
        };
        let pairs = from(self).zip(from(other));
        first
            .iter_days()
            .zip(pairs)
            .map(|(day, (own, other))| (day, own, other))
    }

    /// Puts a reading in the place of what is known of a day, lengthening the record if need be.
    pub fn set(&mut self, day: NaiveDate, reading: Reading) {
        *self.entry(day) = reading;
    }

    /// Adds the readings of consecutive days from a day after the record's last one on.
    pub fn append(&mut self, from: NaiveDate, readings: &[Reading]) {
        let first = if self.days.is_empty() {
            from
        } else {
            self.first
        };
        debug_assert!(self.last_day().is_none_or(|last| last < from));
        let place = usize::try_from((from - first).num_days()).unwrap_or(0);
        self.first = first;
        self.days.resize(place, Reading::default());
        self.days.extend_from_slice(readings);
        self.trim();
    }

    /// A record ends with a day of which something is known.
    fn trim(&mut self) {
        let known = |reading: &Reading| *reading != Reading::default();
        let end = self.days.iter().rposition(known).map_or(0, |last| last + 1);
        self.days.truncate(end);
    }

    /// Forgets the days after `last`.
    pub fn truncate_after(&mut self, last: NaiveDate) {
        let kept = (last - self.first).num_days() + 1;
        self.days.truncate(usize::try_from(kept).unwrap_or(0));
        self.trim();
    }

    /// How many days something is known of.
    pub fn known_days(&self) -> usize {
        let known = |reading: &&Reading| **reading != Reading::default();
        self.days.iter().filter(known).count()
    }

    /// A day's reading, to be changed; the record is lengthened if need be.
    pub fn entry(&mut self, day: NaiveDate) -> &mut Reading {
        if self.days.is_empty() {
            self.first = day;
        }
        let from_first = (day - self.first).num_days();
        if from_first < 0 {
            let before = from_first.unsigned_abs() as usize;
            self.days
                .splice(0..0, std::iter::repeat_n(Reading::default(), before));
            self.first = day;
        }
        let place = usize::try_from(from_first).unwrap_or(0);
        if place >= self.days.len() {
            self.days.resize(place + 1, Reading::default());
        }
        &mut self.days[place]
    }
}

impl Index<&NaiveDate> for DailyReadings {
    type Output = Reading;

    /// # Panics
    /// If the day lies outside the record.
    fn index(&self, day: &NaiveDate) -> &Reading {
        let place = self.place(*day).expect("the day lies within the record");
        &self.days[place]
    }
}

impl FromIterator<(NaiveDate, Reading)> for DailyReadings {
    fn from_iter<I: IntoIterator<Item = (NaiveDate, Reading)>>(days: I) -> Self {
        let mut readings = Self::default();
        for (day, reading) in days {
            readings.set(day, reading);
        }
        readings
    }
}

impl From<&Readings> for DailyReadings {
    fn from(readings: &Readings) -> Self {
        readings
            .iter()
            .map(|(day, reading)| (*day, *reading))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn reading(min: f64) -> Reading {
        Reading {
            min: Some(min),
            max: Some(min + 10.0),
        }
    }

    #[test]
    fn days_may_come_in_any_order_and_leave_holes() {
        let readings: DailyReadings = [
            (day("2024-03-01"), reading(1.0)),
            (day("2024-02-28"), reading(2.0)),
            (day("2024-03-04"), reading(3.0)),
        ]
        .into_iter()
        .collect();
        assert_eq!(readings.first_day(), Some(day("2024-02-28")));
        assert_eq!(readings.last_day(), Some(day("2024-03-04")));
        assert_eq!(readings.get(day("2024-03-01")), reading(1.0));
        assert_eq!(readings.get(day("2024-02-29")), Reading::default());
        assert_eq!(readings.get(day("2024-02-27")), Reading::default());
        assert_eq!(readings.get(day("2024-03-05")), Reading::default());
        assert_eq!(readings.iter().count(), 6);
    }

    #[test]
    fn a_span_is_cut_to_the_record() {
        let readings: DailyReadings = (1..=5)
            .map(|n| {
                (
                    NaiveDate::from_ymd_opt(2026, 7, n).unwrap(),
                    reading(f64::from(n)),
                )
            })
            .collect();
        let within = |from, to| -> Vec<f64> {
            readings
                .between(day(from), day(to))
                .map(|(_, reading)| reading.min.unwrap())
                .collect()
        };
        assert_eq!(within("2026-07-02", "2026-07-04"), [2.0, 3.0, 4.0]);
        assert_eq!(within("2026-06-01", "2026-07-02"), [1.0, 2.0]);
        assert_eq!(within("2026-07-05", "2027-01-01"), [5.0]);
        assert!(within("2026-07-04", "2026-07-02").is_empty());
        assert!(within("2026-08-01", "2026-08-02").is_empty());
        assert!(within("2026-01-01", "2026-01-02").is_empty());
    }

    #[test]
    fn days_after_the_last_one_wanted_are_forgotten() {
        let mut readings: DailyReadings = [
            (day("2026-07-01"), reading(1.0)),
            (day("2026-07-03"), reading(3.0)),
        ]
        .into_iter()
        .collect();
        readings.truncate_after(day("2026-07-02"));
        assert_eq!(readings.last_day(), Some(day("2026-07-01")));
        assert_eq!(readings.known_days(), 1);
        readings.truncate_after(day("2026-06-01"));
        assert_eq!(readings.first_day(), None);
    }
}
