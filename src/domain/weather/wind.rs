//! Wind, which only forecasts bring: no site keeps what blew.

use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Highest wind speed of each day, m/s. A day that is not there is unknown, not calm.
pub type Wind = BTreeMap<NaiveDate, f64>;

/// The strongest wind there can be, m/s. The record gust is about 113 (World Meteorological
/// Organization archive of weather extremes, value from memory).
pub const STRONGEST_MS: f64 = 120.0;

/// Whether a speed in m/s can be a wind's.
pub fn is_plausible_wind(ms: f64) -> bool {
    (0.0..=STRONGEST_MS).contains(&ms)
}

/// A unit that wind is published in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindUnit {
    /// m/s.
    MetresPerSecond,
    /// km/h.
    KilometresPerHour,
    /// Statute miles per hour.
    MilesPerHour,
    /// International knots.
    Knots,
}

impl WindUnit {
    /// Every unit with the name it has in dialect files.
    pub const NAMED: [(&'static str, WindUnit); 4] = [
        ("m/s", WindUnit::MetresPerSecond),
        ("km/h", WindUnit::KilometresPerHour),
        ("mph", WindUnit::MilesPerHour),
        ("knots", WindUnit::Knots),
    ];

    /// Turns a published speed into m/s. Mile and knot by their definitions (1,609.344 and 1,852 m).
    ///
    /// ```
    /// use hatchbell::domain::weather::wind::WindUnit;
    /// assert_eq!(WindUnit::KilometresPerHour.to_ms(36.0), 10.0);
    /// assert!((WindUnit::MilesPerHour.to_ms(10.0) - 4.4704).abs() < 1e-12);
    /// ```
    pub fn to_ms(self, speed: f64) -> f64 {
        match self {
            WindUnit::MetresPerSecond => speed,
            WindUnit::KilometresPerHour => speed / 3.6,
            WindUnit::MilesPerHour => speed * 1609.344 / 3600.0,
            WindUnit::Knots => speed * 1852.0 / 3600.0,
        }
    }
}
