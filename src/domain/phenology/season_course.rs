//! The course of a season: its sum day by day beside what past seasons had by the same day.

use crate::domain::phenology::past_season::PastSeason;
use crate::domain::phenology::season_days::Series;
use crate::domain::weather::degree_day::Model;
use crate::domain::weather::extremes::Extremes;
use chrono::NaiveDate;

/// Past seasons that make a band: fewer are no picture of what is usual.
const FEWEST_SEASONS: usize = 5;

/// The sums of a season and of those before it, by day from the season's start.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonCourse {
    /// The first day.
    pub start: NaiveDate,
    /// The sum at the end of each day so far, °C·d.
    pub so_far: Vec<f64>,
    /// What four of five past seasons had by each day, and their median, °C·d; empty where there are
    /// too few of them.
    pub usual: Vec<UsualSum>,
    /// Past seasons behind the band.
    pub past_seasons: usize,
}

/// What past seasons had by a day, °C·d.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualSum {
    /// One of ten had less.
    pub low: f64,
    /// Half had less.
    pub median: f64,
    /// One of ten had more.
    pub high: f64,
}

impl SeasonCourse {
    /// Of a season's days so far and the seasons before it.
    ///
    /// # Method
    /// Daily degree-days by the model are summed from the season's first day. For each day the sums of
    /// the past seasons that have it are ordered, and the quantiles lie on the straight line between
    /// the two nearest (type 7 of Hyndman and Fan).
    ///
    /// # Units
    /// °C·d.
    ///
    /// # Valid range
    /// Any series; a band needs five past seasons, and ends with the shortest of them.
    ///
    /// # References
    /// R. J. Hyndman, Y. Fan: Sample quantiles in statistical packages. The American Statistician 50
    /// (1996), 361–365.
    pub fn of(model: &Model, start: NaiveDate, series: &Series, past: &[PastSeason]) -> Self {
        let days: Vec<Extremes> = series.days.iter().map(|day| day.extremes).collect();
        let sums: Vec<Vec<f64>> = past.iter().map(|one| sums(model, &one.days)).collect();
        let shortest = sums.iter().map(Vec::len).min().unwrap_or(0);
        let usual = match sums.len() < FEWEST_SEASONS {
            true => Vec::new(),
            false => (0..shortest).map(|day| usual_on(day, &sums)).collect(),
        };
        Self {
            start,
            so_far: self::sums(model, &days),
            usual,
            past_seasons: past.len(),
        }
    }

    /// How many days the season is ahead of its median, or behind it if negative, by the newest day.
    pub fn days_ahead(&self) -> Option<i64> {
        let sum = *self.so_far.last()?;
        let usually = self.usual.iter().position(|usual| usual.median >= sum)?;
        i64::try_from(usually + 1)
            .ok()?
            .checked_sub(i64::try_from(self.so_far.len()).ok()?)
    }
}

fn sums(model: &Model, days: &[Extremes]) -> Vec<f64> {
    let mut sum = 0.0;
    let gains = model.daily(days.iter().copied());
    gains
        .map(|gain| {
            sum += gain;
            sum
        })
        .collect()
}

fn usual_on(day: usize, sums: &[Vec<f64>]) -> UsualSum {
    let mut on_day: Vec<f64> = sums.iter().map(|season| season[day]).collect();
    on_day.sort_by(f64::total_cmp);
    UsualSum {
        low: quantile(&on_day, 0.1),
        median: quantile(&on_day, 0.5),
        high: quantile(&on_day, 0.9),
    }
}

/// Of values in order, of which there is at least one.
fn quantile(values: &[f64], share: f64) -> f64 {
    let place = share * (values.len() - 1) as f64;
    let below = values[place.floor() as usize];
    let above = values[place.ceil() as usize];
    below + (above - below) * place.fract()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::season_days::Day;
    use crate::domain::weather::degree_day::Method;
    use chrono::Days;

    fn by_mean() -> Model {
        Model::new(10.0, None, Method::SimpleAverage).unwrap()
    }

    fn start() -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 1, 1).unwrap()
    }

    /// Days of which each brings so many degree-days above 10 °C.
    fn days(gains: impl IntoIterator<Item = f64>) -> Vec<Extremes> {
        gains
            .into_iter()
            .map(|gain| Extremes::new(10.0 + gain, 10.0 + gain).unwrap())
            .collect()
    }

    fn course(so_far: &[f64], past: &[f64], length: usize) -> SeasonCourse {
        let series = Series {
            days: days(so_far.iter().copied())
                .into_iter()
                .enumerate()
                .map(|(place, extremes)| Day {
                    date: start() + Days::new(place as u64),
                    extremes,
                    estimated: false,
                })
                .collect(),
            data_through: None,
            broken_by: None,
        };
        let past: Vec<PastSeason> = past
            .iter()
            .enumerate()
            .map(|(place, gain)| PastSeason {
                year: 2010 + place as i32,
                days: days(std::iter::repeat_n(*gain, length)),
            })
            .collect();
        SeasonCourse::of(&by_mean(), start(), &series, &past)
    }

    #[test]
    fn the_band_holds_four_of_five_past_seasons_day_by_day() {
        let course = course(&[], &[1.0, 2.0, 3.0, 4.0, 5.0], 10);
        let third = course.usual[2];
        // R: quantile(3 * 1:5, c(.1, .5, .9), type = 7) is 4.2, 9, 13.8; from memory.
        assert!((third.low - 4.2).abs() < 1e-9, "{third:?}");
        assert!((third.median - 9.0).abs() < 1e-9, "{third:?}");
        assert!((third.high - 13.8).abs() < 1e-9, "{third:?}");
    }

    #[test]
    fn fewer_than_five_past_seasons_make_no_band() {
        assert!(course(&[1.0], &[1.0; 4], 10).usual.is_empty());
        assert_eq!(course(&[1.0], &[1.0; 5], 10).usual.len(), 10);
    }

    #[test]
    fn a_season_that_has_in_four_days_what_others_have_in_eight_is_four_days_ahead() {
        assert_eq!(course(&[2.0; 4], &[1.0; 5], 10).days_ahead(), Some(4));
        assert_eq!(course(&[0.5; 4], &[1.0; 5], 10).days_ahead(), Some(-2));
        assert_eq!(course(&[], &[1.0; 5], 10).days_ahead(), None);
    }
}
