//! Daily normals: the mean extremes of each calendar day over a period of years, and seasons made up
//! from them for a station that has no past.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::extremes::Extremes;
use chrono::Datelike;
use statrs::distribution::{ContinuousCDF, Normal as Normal01};

/// Days of a year of normals; 29 February has none of its own.
pub const DAYS: usize = 365;

/// Seasons made up.
pub const SEASONS: usize = 60;

/// What a day's anomaly keeps of that of the day before, in made-up seasons. With 0.65 the mean of 60
/// days scatters as much as at 53 stations of Illinois and Indiana, 1985 to 2014; their mean
/// correlation from day to day is 0.71. Between the two the range holds.
pub const DAY_TO_DAY: f64 = 0.68;

/// Share of a day's spread that lasts the whole season.
pub const LASTING: f64 = 0.25;

/// Standard deviation of a day's mean temperature where the normals do not say it, °C: the mean over the
/// year at the same stations (3.0 in July, 6.6 in January).
pub const SPREAD_C: f64 = 4.8;

/// The normal of a calendar day, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    /// Mean minimum.
    pub min: f64,
    /// Mean maximum; not below the minimum.
    pub max: f64,
    /// Standard deviation of the day's mean from year to year.
    pub spread: f64,
}

/// The normals of a place, from 1 January on.
#[derive(Debug, Clone, PartialEq)]
pub struct Normals(Vec<Normal>);

impl Normals {
    /// Of each day from 1 January to 31 December, without 29 February; `None` if there are not 365.
    pub fn new(days: Vec<Normal>) -> Option<Self> {
        (days.len() == DAYS).then_some(Self(days))
    }

    /// The warmest normal maximum, °C.
    pub fn warmest(&self) -> f64 {
        self.0
            .iter()
            .map(|day| day.max)
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// The coldest normal minimum, °C.
    pub fn coldest(&self) -> f64 {
        self.0
            .iter()
            .map(|day| day.min)
            .fold(f64::INFINITY, f64::min)
    }

    /// The mean over the year, °C.
    pub fn mean(&self) -> f64 {
        let sum: f64 = self
            .0
            .iter()
            .map(|day| f64::midpoint(day.min, day.max))
            .sum();
        sum / DAYS as f64
    }

    /// The same, all of them warmer by so many °C.
    pub fn raised(&self, by: f64) -> Self {
        let raised = |day: &Normal| Normal {
            min: day.min + by,
            max: day.max + by,
            ..*day
        };
        Self(self.0.iter().map(raised).collect())
    }

    /// By how much a station's days are warmer than the normals of a place near it, °C.
    ///
    /// # Method
    /// The mean difference over all of its days, drawn towards 0 as if a year of days had said so: weather
    /// makes a single year differ by as much as places do.
    pub fn warmer(&self, readings: &DailyReadings) -> f64 {
        let (mut sum, mut days) = (0.0, 0.0);
        for (day, reading) in readings.iter() {
            if let Some(extremes) = reading.extremes() {
                let place = (day.ordinal0() as usize).min(DAYS - 1);
                let normal = self.0[place];
                sum += extremes.mean() - f64::midpoint(normal.min, normal.max);
                days += 1.0;
            }
        }
        sum / (days + DAYS as f64)
    }

    /// Seasons as years at such a place could be, each from the day `first` of the year (0 is 1 January).
    ///
    /// # Method
    /// Each day is its normal plus an anomaly: a part that lasts the season ([`LASTING`] of the spread)
    /// and one that keeps [`DAY_TO_DAY`] of the day before, together of the day's spread. Every season has
    /// a twin whose anomalies are the opposite, so that their mean is the normal. The same numbers each time.
    ///
    /// # Units
    /// °C.
    ///
    /// # Valid range
    /// A spread of years, not years: nothing in them happened.
    ///
    /// # References
    /// First-order autoregression for daily temperature: Richardson 1981, Stochastic simulation of daily
    /// precipitation, temperature, and solar radiation (from memory). The shares are measured, see there.
    pub fn seasons(&self, first: usize) -> Vec<Vec<Extremes>> {
        let mut random = fastrand::Rng::with_seed(1981);
        let mut seasons = Vec::with_capacity(SEASONS);
        // The lasting parts are equally likely points, so that few seasons spread as many would.
        let standard = Normal01::standard();
        for pair in 0..SEASONS / 2 {
            let point = 0.5 + (pair as f64 + 0.5) / SEASONS as f64;
            let anomalies = anomalies(&mut random, LASTING * standard.inverse_cdf(point));
            for sign in [1.0, -1.0] {
                let days = anomalies.iter().enumerate().filter_map(|(place, anomaly)| {
                    let normal = self.0[(first + place) % DAYS];
                    let shift = sign * anomaly * normal.spread;
                    // What is not possible does not happen.
                    Extremes::new(normal.min + shift, normal.max + shift)
                        .or_else(|| Extremes::new(normal.min, normal.max))
                });
                seasons.push(days.collect());
            }
        }
        seasons
    }
}

/// A season's anomalies, as shares of the spread.
fn anomalies(random: &mut fastrand::Rng, lasting: f64) -> Vec<f64> {
    const BEFORE: usize = 30;
    let (keeps, passing) = (DAY_TO_DAY, (1.0 - LASTING.powi(2)).sqrt());
    let mut day = normal(random);
    (0..BEFORE + DAYS)
        .map(|_| {
            day = keeps * day + (1.0 - keeps * keeps).sqrt() * normal(random);
            passing * day + lasting
        })
        .skip(BEFORE)
        .collect()
}

/// A number of the standard normal distribution (Box and Muller 1958).
fn normal(random: &mut fastrand::Rng) -> f64 {
    let radius = (-2.0 * (1.0 - random.f64()).ln()).sqrt();
    radius * (std::f64::consts::TAU * random.f64()).cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normals() -> Normals {
        let day = |place: usize| {
            let mean = 10.0 - 12.0 * (std::f64::consts::TAU * place as f64 / 365.0).cos();
            Normal {
                min: mean - 5.0,
                max: mean + 5.0,
                spread: 4.0,
            }
        };
        Normals::new((0..DAYS).map(day).collect()).unwrap()
    }

    fn mean(day: Extremes) -> f64 {
        f64::midpoint(day.min(), day.max())
    }

    #[test]
    fn the_mean_of_the_made_up_seasons_is_the_normal_from_whichever_day_they_begin() {
        let normals = normals();
        for first in [0, 181] {
            let seasons = normals.seasons(first);
            assert_eq!(seasons.len(), SEASONS);
            for place in [0, 100, 364] {
                let of_day: f64 = seasons.iter().map(|season| mean(season[place])).sum();
                let due = normals.0[(first + place) % DAYS];
                assert!((of_day / SEASONS as f64 - (due.min + due.max) / 2.0).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn days_scatter_by_the_spread_and_follow_each_other_as_weather_does() {
        let normals = normals();
        let seasons = normals.seasons(0);
        let anomaly = |season: &[Extremes], place: usize| {
            let normal = normals.0[place];
            mean(season[place]) - f64::midpoint(normal.min, normal.max)
        };
        let (mut own, mut next) = (0.0, 0.0);
        for season in &seasons {
            for place in 0..DAYS - 1 {
                own += anomaly(season, place).powi(2);
                next += anomaly(season, place) * anomaly(season, place + 1);
            }
        }
        let days = (seasons.len() * (DAYS - 1)) as f64;
        let spread = (own / days).sqrt();
        assert!((spread - 4.0).abs() < 0.3, "{spread}");
        // (1 − L²) φ + L² of the variance goes on to the next day.
        let due = (1.0 - LASTING.powi(2)) * DAY_TO_DAY + LASTING.powi(2);
        assert!((next / own - due).abs() < 0.05, "{}", next / own);
    }

    /// A year 3 °C above the normals: a year's assumption that there is no difference halves it.
    #[test]
    fn one_warm_year_raises_the_normals_by_half_of_it() {
        let normals = normals();
        let first = chrono::NaiveDate::from_ymd_opt(2025, 1, 1).unwrap();
        let readings: DailyReadings = first
            .iter_days()
            .zip(&normals.0)
            .map(|(day, normal)| {
                let of = |value: f64| Some(value + 3.0);
                let reading = crate::domain::weather::reading::Reading {
                    min: of(normal.min),
                    max: of(normal.max),
                };
                (day, reading)
            })
            .collect();
        let warmer = normals.warmer(&readings);
        assert!((warmer - 1.5).abs() < 1e-9);
        assert!((normals.raised(warmer).mean() - normals.mean() - 1.5).abs() < 1e-9);
    }

    #[test]
    fn a_year_has_365_normals_or_is_none() {
        assert_eq!(
            Normals::new(vec![
                Normal {
                    min: 0.0,
                    max: 1.0,
                    spread: 4.0
                };
                366
            ]),
            None
        );
    }
}
