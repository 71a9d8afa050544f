//! A station's own extremes of each time of year.

use super::outliers::OUTLIER_MARGIN_C;
use crate::domain::weather::reading::Readings;
use crate::station_feed::parsed::Element;
use chrono::{Datelike, NaiveDate};

/// Days before and after a date whose stored values are its climate.
pub(super) const CLIMATE_DAYS: i64 = 15;
/// How far, °C, beyond all stored values of its time of year a value is unlikely, by how many of
/// these there are at least; with fewer nothing is.
///
/// Ten years of 31 days, ten days of them missing (nine years cannot have as many): at Milwaukee one
/// of 63,000 values of 1938 to 2026 was farther, each held against the days before it. Two years,
/// then one: at 73 stations of Wisconsin, Illinois and Indiana 140 of 1.34 million values were farther
/// from the two years before them, and 203 of 1.41 million from the one year, bad values among them.
const MARGINS_C: [(u32, f64); 3] = [(300, OUTLIER_MARGIN_C), (50, 12.0), (25, 15.0)];

/// What is stored of one day of the year, of one extreme.
#[derive(Debug, Clone, Copy)]
struct ClimateRecord {
    count: u32,
    least: f64,
    greatest: f64,
}

const NO_RECORD: ClimateRecord = ClimateRecord {
    count: 0,
    least: f64::INFINITY,
    greatest: f64::NEG_INFINITY,
};

impl ClimateRecord {
    fn and(self, other: ClimateRecord) -> ClimateRecord {
        ClimateRecord {
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
    max: [ClimateRecord; YEAR],
    min: [ClimateRecord; YEAR],
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
                    *record = record.and(ClimateRecord {
                        count: 1,
                        least: celsius,
                        greatest: celsius,
                    });
                }
            }
        }
        climate
    }

    /// The least and greatest value around a day, and how far beyond them a value is unlikely, °C, if
    /// enough is stored.
    pub fn extremes(&self, day: NaiveDate, element: Element) -> Option<((f64, f64), f64)> {
        let records = match element {
            Element::Max => &self.max,
            Element::Min => &self.min,
        };
        let place = place_in_year(day) as i64;
        let all = (-CLIMATE_DAYS..=CLIMATE_DAYS)
            .map(|step| records[(place + step).rem_euclid(YEAR as i64) as usize])
            .fold(NO_RECORD, ClimateRecord::and);
        let margin = MARGINS_C.iter().find(|(least, _)| all.count >= *least)?.1;
        Some(((all.least, all.greatest), margin))
    }
}

/// A day's place in a leap year, from 0.
fn place_in_year(day: NaiveDate) -> usize {
    day.with_year(2024).map_or(0, |day| day.ordinal0() as usize)
}
