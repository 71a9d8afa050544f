//! A station's own extremes of each time of year.

use crate::domain::series::Readings;
use crate::feed::parse::Element;
use chrono::{Datelike, NaiveDate};

/// Days before and after a date whose stored values are its climate.
pub(super) const CLIMATE_DAYS: i64 = 15;
/// Stored values needed for a climate: ten years of 31 days, ten days of them missing. Nine years
/// cannot have as many.
const VALUES_FOR_CLIMATE: u32 = 300;

/// What is stored of one day of the year, of one extreme.
#[derive(Debug, Clone, Copy)]
struct Record {
    count: u32,
    least: f64,
    greatest: f64,
}

const NO_RECORD: Record = Record {
    count: 0,
    least: f64::INFINITY,
    greatest: f64::NEG_INFINITY,
};

impl Record {
    fn and(self, other: Record) -> Record {
        Record {
            count: self.count + other.count,
            least: self.least.min(other.least),
            greatest: self.greatest.max(other.greatest),
        }
    }
}

/// Days of a leap year.
const YEAR: usize = 366;

/// A station's own extremes by the day of the year.
pub(super) struct Climate {
    max: [Record; YEAR],
    min: [Record; YEAR],
}

impl Climate {
    /// The climate of stored readings.
    pub fn of(stored: &Readings) -> Self {
        let mut climate = Self {
            max: [NO_RECORD; YEAR],
            min: [NO_RECORD; YEAR],
        };
        for (day, reading) in stored {
            let place = place_in_year(*day);
            for (record, value) in [
                (&mut climate.max[place], reading.max),
                (&mut climate.min[place], reading.min),
            ] {
                if let Some(celsius) = value {
                    *record = record.and(Record {
                        count: 1,
                        least: celsius,
                        greatest: celsius,
                    });
                }
            }
        }
        climate
    }

    /// The least and greatest value around a day, if enough is stored.
    pub fn extremes(&self, day: NaiveDate, element: Element) -> Option<(f64, f64)> {
        let records = match element {
            Element::Max => &self.max,
            Element::Min => &self.min,
        };
        let place = place_in_year(day) as i64;
        let all = (-CLIMATE_DAYS..=CLIMATE_DAYS)
            .map(|step| records[(place + step).rem_euclid(YEAR as i64) as usize])
            .fold(NO_RECORD, Record::and);
        (all.count >= VALUES_FOR_CLIMATE).then_some((all.least, all.greatest))
    }
}

/// A day's place in a leap year, from 0.
fn place_in_year(day: NaiveDate) -> usize {
    day.with_year(2024).map_or(0, |day| day.ordinal0() as usize)
}
