//! A station's daily readings, as a feed or a person gave them.

use crate::domain::weather::extremes::Extremes;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// What a feed said of one day, °C. The two extremes may arrive on different days.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reading {
    /// Minimum, °C.
    pub min: Option<f64>,
    /// Maximum, °C.
    pub max: Option<f64>,
}

impl Reading {
    /// Both extremes, if they are there and make a possible day.
    pub fn extremes(&self) -> Option<Extremes> {
        Extremes::new(self.min?, self.max?)
    }
}

/// Readings by day, as a station publishes its days.
pub type Readings = BTreeMap<NaiveDate, Reading>;

/// The newest day with both extremes.
pub fn newest_complete(readings: &Readings) -> Option<NaiveDate> {
    readings
        .iter()
        .rev()
        .find(|(_, reading)| reading.extremes().is_some())
        .map(|(day, _)| *day)
}
