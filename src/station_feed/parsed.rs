//! What a file said.

use super::refusal::RefusedRow;
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::{Reading, Readings};
use crate::domain::weather::wind::Wind;
use chrono::NaiveDate;

/// What a file said.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Parsed {
    /// Readings by day, °C.
    pub readings: Readings,
    /// Rain by day, mm. Days without a row or a value are unknown, not dry.
    pub rain: Rain,
    /// Highest wind speed by day, m/s; of forecasts only.
    pub wind: Wind,
    /// Values that failed the publisher's quality check: a stored one is no longer good.
    pub failed: Vec<(NaiveDate, Element)>,
    /// Rows and values that were refused alone.
    pub refused: Vec<RefusedRow>,
    /// Rows left out because their day is still moving.
    pub provisional: usize,
    /// Rows looked at.
    pub rows: usize,
    /// Values looked at: given, not missing.
    pub values: usize,
    /// The first value with a fraction and its line, to tell a raw-tenths feed from others.
    pub first_fraction: Option<(u64, String)>,
}

/// One of a day's two extremes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Element {
    /// The maximum.
    Max,
    /// The minimum.
    Min,
}

impl Element {
    /// The name in the store.
    pub fn name(self) -> &'static str {
        match self {
            Element::Max => "max",
            Element::Min => "min",
        }
    }

    /// This extreme of a reading, °C.
    pub fn of(self, reading: &Reading) -> Option<f64> {
        match self {
            Element::Max => reading.max,
            Element::Min => reading.min,
        }
    }

    /// Where a reading has this extreme.
    pub fn of_mut(self, reading: &mut Reading) -> &mut Option<f64> {
        match self {
            Element::Max => &mut reading.max,
            Element::Min => &mut reading.min,
        }
    }
}
