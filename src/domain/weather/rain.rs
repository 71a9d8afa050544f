//! Rain and irrigation: what has watered a treatment in, and how wet the ground is.

use chrono::{Days, NaiveDate};
use std::collections::BTreeMap;

/// Amounts by day, mm. A day that is not there is unknown, not dry.
pub type Rain = BTreeMap<NaiveDate, f64>;

/// The most that can fall in a day, mm. The record is about 1825 mm in 24 hours (World
/// Meteorological Organization archive of weather extremes, value from memory).
pub const MOST_IN_A_DAY_MM: f64 = 2000.0;

/// Whether an amount in mm can fall in a day.
pub fn is_plausible_rain(mm: f64) -> bool {
    (0.0..=MOST_IN_A_DAY_MM).contains(&mm)
}

/// The sum over a span of days, both ends included, mm; unknown days count as nothing.
pub fn sum(rain: &Rain, from: NaiveDate, to: NaiveDate) -> f64 {
    if from > to {
        return 0.0;
    }
    // Not `sum()`, which makes of nothing a zero with a sign.
    rain.range(from..=to).fold(0.0, |sum, (_, mm)| sum + mm)
}

/// The sum over the last `days` days up to and including `day`, mm.
pub fn sum_of_last(rain: &Rain, day: NaiveDate, days: u64) -> f64 {
    sum(rain, day - Days::new(days.saturating_sub(1)), day)
}
