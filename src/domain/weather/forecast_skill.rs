//! What a station's forecasts are worth: their bias and error by how far ahead they look, from those that
//! were kept and the days that came.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::reading::Readings;
use chrono::{Days, NaiveDate};

/// Forecasts that the stated default counts for beside those of the station. A choice: a month of
/// forecasts outweighs it.
pub const DEFAULT_COUNTS_FOR: f64 = 20.0;

/// Error of the day after the issue of a forecast, °C, until the station's own is known. See
/// [`default_error`].
pub const FIRST_DAY_ERROR: f64 = 1.6;

/// By how much the error is taken to grow with each day farther ahead, °C.
pub const ERROR_GROWTH: f64 = 0.3;

/// Forecasts that were issued longer ago are no longer learnt from, days: all seasons are in a year, and
/// models change.
pub const LEARNT_FROM_DAYS: u64 = 365;

/// Days farther ahead than this are not learnt from: no service foretells single days beyond it.
pub const FARTHEST_LEAD: u32 = 30;

/// A forecast as it was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptForecast {
    /// The day on which it was taken in.
    pub issued_on: NaiveDate,
    /// Extremes by day, °C.
    pub days: Readings,
}

impl KeptForecast {
    /// The mean temperature that it foretells for each day after its issue, °C, with the days ahead.
    pub fn means(&self) -> impl Iterator<Item = (NaiveDate, u32, f64)> + '_ {
        self.days.iter().filter_map(|(day, reading)| {
            let lead = lead(self.issued_on, *day)?;
            Some((*day, lead, reading.extremes()?.mean()))
        })
    }
}

/// Days from the issue of a forecast to a day that is scored; `None` for one that is not ahead of it, or
/// too far.
fn lead(issued_on: NaiveDate, day: NaiveDate) -> Option<u32> {
    let days = u32::try_from((day - issued_on).num_days()).ok()?;
    (1..=FARTHEST_LEAD).contains(&days).then_some(days)
}

/// Error (standard deviation) of a forecast day's mean temperature so many days after its issue, °C, where
/// nothing is known of the station's forecasts.
///
/// # Method
/// From 1.6 °C on the first day rising by 0.3 °C a day: 3.4 °C on the seventh. Where it is used it never
/// counts as more than the spread of past seasons: nobody issues forecasts that are worse than none.
///
/// # Units
/// Days in, °C out.
///
/// # Valid range
/// The first day is day 1; the issue day itself counts as it.
///
/// # References
/// The figures are an estimate of ours. That errors grow with lead is published: Lorenz 1982, Atmospheric
/// predictability experiments with a large numerical model, Tellus 34 (from memory); Lopes, Dutra and
/// Boussetta 2024, Evaluation of daily temperature extremes in the ECMWF operational weather forecasts
/// and ERA5, Atmosphere 15(1), 93 (title and abstract read; its figures are not used).
///
/// # Examples
/// ```
/// use hatchbell::domain::weather::forecast_skill::default_error;
/// assert!((default_error(1) - 1.6).abs() < 1e-9);
/// assert!((default_error(7) - 3.4).abs() < 1e-9);
/// ```
pub fn default_error(lead: u32) -> f64 {
    FIRST_DAY_ERROR + ERROR_GROWTH * f64::from(lead.max(1) - 1)
}

/// The errors of a station's forecasts so many days ahead: foretold less came, of a day's mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadError {
    /// Days ahead.
    pub lead: u32,
    /// Forecasts that were held against what came.
    pub cases: usize,
    sum: f64,
    squares: f64,
}

impl LeadError {
    /// Nothing known yet.
    pub fn unknown(lead: u32) -> Self {
        Self {
            lead,
            cases: 0,
            sum: 0.0,
            squares: 0.0,
        }
    }

    /// As after so many forecasts of a bias and an error about it, °C.
    pub fn after(lead: u32, cases: usize, bias: f64, error: f64) -> Self {
        let n = cases as f64;
        Self {
            lead,
            cases,
            sum: n * bias,
            squares: n * (bias * bias + error * error),
        }
    }

    fn note(&mut self, error: f64) {
        self.cases += 1;
        self.sum += error;
        self.squares += error * error;
    }

    /// The bias to take off a forecast, °C; positive is foretold too warm.
    ///
    /// # Method
    /// The mean error, drawn towards 0 as if [`DEFAULT_COUNTS_FOR`] forecasts without any had been seen.
    pub fn bias(&self) -> f64 {
        self.sum / (self.cases as f64 + DEFAULT_COUNTS_FOR)
    }

    /// The variance of the error about that bias, °C², where past seasons spread by a variance.
    ///
    /// # Method
    /// The mean square about [`LeadError::bias`], drawn towards that of [`default_error`], or of the
    /// spread where it is less, as if [`DEFAULT_COUNTS_FOR`] forecasts had shown it. What is not taken off
    /// of the bias is part of it.
    pub fn variance(&self, spread: f64) -> f64 {
        let n = self.cases as f64;
        let bias = self.bias();
        let about = self.squares - 2.0 * bias * self.sum + n * bias * bias;
        let default = default_error(self.lead).powi(2).min(spread);
        (about.max(0.0) + DEFAULT_COUNTS_FOR * default) / (n + DEFAULT_COUNTS_FOR)
    }
}

/// What is known of a station's forecasts.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ForecastSkill {
    /// By days ahead, from 1 on.
    leads: Vec<LeadError>,
}

impl ForecastSkill {
    /// Of forecasts that were kept and the days that came, which are measured ones.
    ///
    /// ```
    /// use hatchbell::domain::weather::daily_readings::DailyReadings;
    /// use hatchbell::domain::weather::forecast_skill::{ForecastSkill, KeptForecast};
    /// use hatchbell::domain::weather::reading::{Reading, Readings};
    ///
    /// let day = "2026-05-02".parse().unwrap();
    /// let of = |min, max| Readings::from([(day, Reading { min: Some(min), max: Some(max) })]);
    /// let kept = KeptForecast { issued_on: "2026-05-01".parse().unwrap(), days: of(9.0, 21.0) };
    /// let skill = ForecastSkill::learnt(&[kept], &DailyReadings::from(&of(10.0, 18.0)));
    /// // One degree too warm once, and 20 times none: 1/21.
    /// assert!((skill.at(1).bias() - 1.0 / 21.0).abs() < 1e-12);
    /// ```
    pub fn learnt(kept: &[KeptForecast], came: &DailyReadings) -> Self {
        let mut skill = Self::default();
        for (day, lead, foretold) in kept.iter().flat_map(KeptForecast::means) {
            let Some(came) = came.extremes(day) else {
                continue;
            };
            let place = lead as usize - 1;
            while skill.leads.len() <= place {
                let next = skill.leads.len() as u32 + 1;
                skill.leads.push(LeadError::unknown(next));
            }
            skill.leads[place].note(foretold - came.mean());
        }
        skill
    }

    /// Of the day so many days after the issue; the issue day itself counts as the day after it.
    pub fn at(&self, lead: i64) -> LeadError {
        let lead = u32::try_from(lead).unwrap_or(0).max(1);
        let known = self.leads.get(lead as usize - 1).copied();
        known.unwrap_or(LeadError::unknown(lead))
    }
}

/// The first day whose forecasts are learnt from on a day.
pub fn learnt_from(today: NaiveDate) -> NaiveDate {
    today - Days::new(LEARNT_FROM_DAYS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn until_forecasts_are_kept_the_default_holds_but_never_beyond_the_spread() {
        let none = ForecastSkill::default();
        for (lead, due) in [(0, 1.6), (1, 1.6), (2, 1.9), (7, 3.4)] {
            assert!((none.at(lead).variance(100.0).sqrt() - due).abs() < 1e-9);
            assert_eq!(none.at(lead).bias(), 0.0);
        }
        assert_eq!(none.at(7).variance(4.0), 4.0);
    }

    /// By hand: 20 forecasts 2 °C too warm count as much as the default: 1 °C is taken off. 1 °C is left
    /// in each of them: (20 · 1 + 20 · 1.6²) / 40.
    #[test]
    fn twenty_forecasts_count_as_much_as_the_default() {
        let seen = LeadError::after(1, 20, 2.0, 0.0);
        assert!((seen.bias() - 1.0).abs() < 1e-12);
        assert!((seen.variance(100.0) - (1.0 + 2.56) / 2.0).abs() < 1e-12);
        let many = LeadError::after(1, 1_000_000, 2.0, 3.0);
        assert!((many.bias() - 2.0).abs() < 1e-3);
        assert!((many.variance(4.0).sqrt() - 3.0).abs() < 1e-3, "may be bad");
    }

    #[test]
    fn only_days_after_the_issue_that_came_are_held_against_it() {
        let day = |text: &str| -> NaiveDate { text.parse().unwrap() };
        let reading = |min: f64, max| crate::domain::weather::reading::Reading {
            min: Some(min),
            max,
        };
        let days = [
            (day("2026-04-30"), reading(0.0, Some(30.0))),
            (day("2026-05-01"), reading(0.0, Some(30.0))),
            (day("2026-05-02"), reading(10.0, Some(22.0))),
            (day("2026-05-03"), reading(10.0, None)),
            (day("2026-05-04"), reading(10.0, Some(22.0))),
            (day("2027-05-04"), reading(10.0, Some(22.0))),
        ];
        let kept = KeptForecast {
            issued_on: day("2026-05-01"),
            days: days.into(),
        };
        let came: Readings = (kept.days.keys())
            .filter(|came| **came != day("2026-05-04"))
            .map(|came| (*came, reading(8.0, Some(20.0))))
            .collect();
        let skill = ForecastSkill::learnt(&[kept], &DailyReadings::from(&came));
        let cases: Vec<usize> = (1..=4).map(|lead| skill.at(lead).cases).collect();
        assert_eq!(cases, [1, 0, 0, 0]);
        assert!((skill.at(1).bias() - 2.0 / 21.0).abs() < 1e-12);
    }
}
