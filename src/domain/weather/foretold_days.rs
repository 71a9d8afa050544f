//! The days that a forecast says follow the observed ones, for what they are worth.

use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::forecast_skill::{ForecastSkill, LeadError};
use crate::domain::weather::reading::Readings;
use chrono::{Days, NaiveDate};

/// From one day to the next a mean temperature does not jump so far, °C: a forecast that does is not used
/// from there on. A choice; a cold front of 10 °C is common, and one of 15 °C rare enough to do without.
pub const JUMP: f64 = 15.0;

/// Past seasons that agree to less than this count as spread by it, °C.
const LEAST_SPREAD: f64 = 1e-3;

/// A station's forecast with what its forecasts have been worth.
#[derive(Debug, Clone, PartialEq)]
pub struct StationForecast {
    /// The day on which it was taken in.
    pub issued_on: NaiveDate,
    /// Extremes by day, °C.
    pub days: Readings,
    /// What forecasts of the station have been worth.
    pub skill: ForecastSkill,
}

/// A day as a forecast has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForetoldDay {
    /// Its extremes, the bias taken off.
    pub extremes: Extremes,
    /// How far such days have been from what came.
    pub error: LeadError,
}

impl ForetoldDay {
    /// A day with the bias of its lead taken off; left as it is where that leaves what is possible.
    pub fn new(foretold: Extremes, error: LeadError) -> Self {
        Self {
            extremes: foretold.moved(-error.bias()),
            error,
        }
    }

    /// The share that the forecast has in the day, 0 to 1, where past seasons spread by a variance, °C².
    ///
    /// # Method
    /// `s² / (s² + e²)`, with `e²` the variance of the forecast's error: the weight that makes the error
    /// of the mean of two independent estimates least.
    ///
    /// # References
    /// Weights inverse to variances: any textbook of statistics.
    pub fn share(&self, spread: f64) -> f64 {
        let spread = spread.max(LEAST_SPREAD * LEAST_SPREAD);
        spread / (spread + self.error.variance(spread))
    }
}

/// The foretold days that are used.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ForetoldDays {
    /// They follow the last observed day without a hole.
    pub days: Vec<ForetoldDay>,
    /// The day from which on the forecast is not used, because it jumps by [`JUMP`] or more to it.
    pub jumps_on: Option<NaiveDate>,
}

impl ForetoldDays {
    /// The days of a forecast that follow the last observed day.
    ///
    /// Days that are observed as well are left out: what was measured counts. Those after a hole are
    /// left out, and those from a jump on.
    pub fn following((last_day, last): (NaiveDate, Extremes), forecast: &StationForecast) -> Self {
        let mut used = Self::default();
        let mut before = last.mean();
        for day in last_day.iter_days().skip(1) {
            let Some(foretold) = forecast.days.get(&day).and_then(|one| one.extremes()) else {
                break;
            };
            let error = forecast.skill.at((day - forecast.issued_on).num_days());
            let foretold = ForetoldDay::new(foretold, error);
            let mean = foretold.extremes.mean();
            if (mean - before).abs() >= JUMP {
                used.jumps_on = Some(last_day + Days::new(used.days.len() as u64 + 1));
                break;
            }
            before = mean;
            used.days.push(foretold);
        }
        used
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::reading::Reading;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn air(mean: f64) -> Extremes {
        Extremes::new(mean - 5.0, mean + 5.0).unwrap()
    }

    /// What is used after 10 °C on 1 May of a forecast issued on 2 May with these means from `first` on.
    fn used(first: &str, means: &[f64], skill: ForecastSkill) -> ForetoldDays {
        let days = day(first).iter_days().zip(means).map(|(day, mean)| {
            let reading = Reading {
                min: Some(mean - 5.0),
                max: Some(mean + 5.0),
            };
            (day, reading)
        });
        let forecast = StationForecast {
            issued_on: day("2026-05-02"),
            days: days.collect(),
            skill,
        };
        ForetoldDays::following((day("2026-05-01"), air(10.0)), &forecast)
    }

    fn means(used: &ForetoldDays) -> Vec<f64> {
        used.days.iter().map(|day| day.extremes.mean()).collect()
    }

    #[test]
    fn days_that_are_observed_as_well_are_not_taken_from_the_forecast() {
        let overlapping = used(
            "2026-04-29",
            &[40.0, 40.0, 40.0, 11.0, 12.0],
            Default::default(),
        );
        assert_eq!(means(&overlapping), [11.0, 12.0]);
        assert_eq!(overlapping.jumps_on, None, "1 May was foretold at 40");
        let leads: Vec<u32> = overlapping.days.iter().map(|day| day.error.lead).collect();
        assert_eq!(leads, [1, 1], "the issue day counts as the day after it");
    }

    #[test]
    fn a_forecast_that_begins_after_a_hole_is_not_used() {
        assert_eq!(
            used("2026-05-03", &[11.0], Default::default()),
            ForetoldDays::default()
        );
    }

    #[test]
    fn days_from_a_jump_of_fifteen_degrees_on_are_not_used() {
        let jumps = |means_of: &[f64]| {
            let used = used("2026-05-02", means_of, Default::default());
            (means(&used).len(), used.jumps_on)
        };
        assert_eq!(jumps(&[12.0, 26.9, 12.0]), (3, None));
        assert_eq!(jumps(&[12.0, 27.0, 28.0]), (1, Some(day("2026-05-03"))));
        assert_eq!(jumps(&[12.0, -3.0]), (1, Some(day("2026-05-03"))));
        assert_eq!(jumps(&[25.0, 25.0]), (0, Some(day("2026-05-02"))));
    }

    /// Past seasons spread by 3 °C, forecasts err by 4: 9 / 25.
    #[test]
    fn the_share_of_a_forecast_is_by_the_variances() {
        let share = |error: LeadError| ForetoldDay::new(air(10.0), error).share(9.0);
        let sure = |error| LeadError::after(1, usize::MAX, 0.0, error);
        assert!((share(sure(4.0)) - 0.36).abs() < 1e-6);
        assert!(share(sure(0.0)) > 1.0 - 1e-6 && share(sure(1e6)) < 1e-6);
        // By the default, 3.4 on the seventh day but no more than the spread.
        assert_eq!(share(LeadError::unknown(7)), 0.5);
        let alike = ForetoldDay::new(air(10.0), LeadError::unknown(7)).share(0.0);
        assert_eq!(
            alike, 0.5,
            "as a forecast no better than seasons that are all alike"
        );
    }
}
