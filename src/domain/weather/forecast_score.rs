//! How good kept forecasts were, by how far ahead they looked, beside the mean of the station's other years.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::forecast_skill::KeptForecast;
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;

/// With fewer other years a day has no mean of them.
pub const FEWEST_OTHER_YEARS: usize = 3;

/// Errors of estimates of a day's mean temperature: told less came.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ErrorTally {
    /// Cases.
    pub cases: usize,
    sum: f64,
    absolute: f64,
    squares: f64,
}

impl ErrorTally {
    fn note(&mut self, error: f64) {
        self.cases += 1;
        self.sum += error;
        self.absolute += error.abs();
        self.squares += error * error;
    }

    /// Adds the cases of another tally.
    pub fn add(&mut self, other: &Self) {
        self.cases += other.cases;
        self.sum += other.sum;
        self.absolute += other.absolute;
        self.squares += other.squares;
    }

    /// Mean error, °C; positive is told too warm. `None` without cases, as for the others.
    pub fn bias(&self) -> Option<f64> {
        self.per_case(self.sum)
    }

    /// Mean absolute error, °C.
    pub fn mean_absolute_error(&self) -> Option<f64> {
        self.per_case(self.absolute)
    }

    /// Standard deviation of the error about the bias, °C.
    pub fn error(&self) -> Option<f64> {
        let (bias, square) = (self.bias()?, self.per_case(self.squares)?);
        Some((square - bias * bias).max(0.0).sqrt())
    }

    fn per_case(&self, sum: f64) -> Option<f64> {
        (self.cases > 0).then(|| sum / self.cases as f64)
    }
}

/// The scores of forecasts so many days ahead.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ForecastLeadScore {
    /// The forecasts, as they came.
    pub forecast: ErrorTally,
    /// The mean of the same day in the station's other years, of the same cases where there are enough.
    pub other_years: ErrorTally,
}

/// Scores by days ahead.
pub type ForecastScores = BTreeMap<u32, ForecastLeadScore>;

/// Holds kept forecasts of a station against the days that came; those that did not are no cases.
pub fn score_forecasts(kept: &[KeptForecast], came: &DailyReadings) -> ForecastScores {
    let mut scores = ForecastScores::new();
    let mut of_other_years: BTreeMap<NaiveDate, Option<f64>> = BTreeMap::new();
    for (day, lead, foretold) in kept.iter().flat_map(KeptForecast::means) {
        let Some(truth) = came.extremes(day).map(|day| day.mean()) else {
            continue;
        };
        let score = scores.entry(lead).or_default();
        score.forecast.note(foretold - truth);
        let other_years = of_other_years
            .entry(day)
            .or_insert_with(|| mean_of_other_years(came, day));
        if let Some(mean) = other_years {
            score.other_years.note(*mean - truth);
        }
    }
    scores
}

/// The mean of a calendar day in the other years of a record.
fn mean_of_other_years(came: &DailyReadings, day: NaiveDate) -> Option<f64> {
    let (first, last) = (came.first_day()?, came.last_day()?);
    let means: Vec<f64> = (first.year()..=last.year())
        .filter(|year| *year != day.year())
        .filter_map(|year| Some(came.extremes(day.with_year(year)?)?.mean()))
        .collect();
    (means.len() >= FEWEST_OTHER_YEARS).then(|| means.iter().sum::<f64>() / means.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::reading::{Reading, Readings};

    fn reading(mean: f64) -> Reading {
        Reading {
            min: Some(mean - 5.0),
            max: Some(mean + 5.0),
        }
    }

    /// 10 °C came, 13 and 15 were foretold a day before, 9 two days before. 7, 8 and 12 °C came in the other
    /// years: 9 in the mean.
    #[test]
    fn forecasts_are_scored_by_lead_beside_the_mean_of_the_other_years() {
        let day = |text: &str| -> NaiveDate { text.parse().unwrap() };
        let came: Readings = [
            ("2023-05-02", 7.0),
            ("2024-05-02", 8.0),
            ("2025-05-02", 12.0),
            ("2026-05-02", 10.0),
            ("2026-05-03", 10.0),
        ]
        .map(|(at, mean)| (day(at), reading(mean)))
        .into();
        let kept = |issued_on, of: &[(&str, f64)]| KeptForecast {
            issued_on: day(issued_on),
            days: of
                .iter()
                .map(|(at, mean)| (day(at), reading(*mean)))
                .collect(),
        };
        let kept = [
            kept("2026-04-30", &[("2026-05-02", 9.0)]),
            kept("2026-05-01", &[("2026-05-02", 13.0), ("2026-05-09", 13.0)]),
            kept("2026-05-02", &[("2026-05-02", 40.0), ("2026-05-03", 15.0)]),
        ];
        let scores = score_forecasts(&kept, &DailyReadings::from(&came));
        assert_eq!(scores.keys().copied().collect::<Vec<_>>(), [1, 2]);
        let one = scores[&1];
        assert_eq!(
            (
                one.forecast.cases,
                one.forecast.bias(),
                one.forecast.mean_absolute_error(),
                one.forecast.error()
            ),
            (2, Some(4.0), Some(4.0), Some(1.0))
        );
        assert_eq!(
            (one.other_years.cases, one.other_years.bias()),
            (1, Some(-1.0)),
            "3 May has none"
        );
        assert_eq!(
            (scores[&2].forecast.bias(), scores[&2].forecast.error()),
            (Some(-1.0), Some(0.0))
        );
        assert_eq!(ErrorTally::default().error(), None);
    }
}
