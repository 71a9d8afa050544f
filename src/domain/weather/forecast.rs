//! A forecast, and how long it holds.

use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::Readings;
use crate::domain::weather::wind::Wind;
use chrono::{DateTime, NaiveDate, Utc};

/// A forecast older than this has lapsed and is not used, days. Our choice: services issue one
/// several times a day, so an older one means that the feed fails, and rain is hardly foretold over
/// more days than it then still has.
pub const LAPSES_AFTER_DAYS: i64 = 2;

/// What a model says of a station's days to come.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// When these days were first taken in: files seldom say when their model ran.
    pub issued: DateTime<Utc>,
    /// Extremes by day, °C.
    pub days: Readings,
    /// Rain by day, mm.
    pub rain: Rain,
    /// Highest wind speed by day, m/s.
    pub wind: Wind,
}

impl Forecast {
    /// Whether it may be used on a day.
    pub fn is_current(&self, today: NaiveDate) -> bool {
        is_current(self.issued, today)
    }

    /// Whether it says of every day what another one says: a feed that repeats itself issues nothing
    /// new.
    pub fn says_the_same(&self, other: &Forecast) -> bool {
        self.days == other.days && self.rain == other.rain && self.wind == other.wind
    }
}

/// Whether what was issued at an instant may be used on a day: neither once it has lapsed, nor when
/// one looks back at days on which nobody knew it. Evenings in America are of the day before in
/// UTC, so that much is let pass.
pub fn is_current(issued: DateTime<Utc>, today: NaiveDate) -> bool {
    let age = (today - issued.date_naive()).num_days();
    (-1..=LAPSES_AFTER_DAYS).contains(&age)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_forecast_lapses_after_two_days_and_does_not_reach_back() {
        let issued = "2026-06-08T23:30:00Z".parse().unwrap();
        let current = |day: &str| is_current(issued, day.parse().unwrap());
        assert!(!current("2026-06-06"));
        assert!(current("2026-06-07"), "an evening in America");
        assert!(current("2026-06-08") && current("2026-06-10"));
        assert!(!current("2026-06-11"));
    }
}
