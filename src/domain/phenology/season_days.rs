//! The gap-free run of a season's days that a sum is made of.
//!
//! A day counts as measured when both extremes are there and in order. Days between two measured
//! days are bridged by straight lines and marked as estimated; a gap longer than the limit breaks
//! the series, because bridging weeks would be guessing.

use crate::domain::phenology::season::Season;
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::gaps::{Estimates, on_line};
use chrono::{Days, NaiveDate};

/// How much may be estimated before a milestone is held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Longest gap that is bridged, days.
    pub longest_gap_days: u32,
    /// Most estimated days a season's sum may contain.
    pub most_estimated_days: u32,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            longest_gap_days: 10,
            most_estimated_days: 15,
        }
    }
}

/// One day of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Day {
    /// The day.
    pub date: NaiveDate,
    /// Its extremes.
    pub extremes: Extremes,
    /// Whether an extreme is an estimate.
    pub estimated: bool,
}

/// Days that are missing, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// First missing day.
    pub from: NaiveDate,
    /// Last missing day.
    pub to: NaiveDate,
}

impl Gap {
    /// How many days are missing.
    pub fn days(&self) -> i64 {
        (self.to - self.from).num_days() + 1
    }
}

/// A season's days without holes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Consecutive days from the season's start.
    pub days: Vec<Day>,
    /// The newest measured day in the season, whether or not the run of days reaches it.
    pub data_through: Option<NaiveDate>,
    /// The gap that ends the run of days early.
    pub broken_by: Option<Gap>,
}

/// The season's days up to `until`, gaps of at most `longest_gap` days bridged. `estimates` names
/// the readings that are estimates themselves (see [`crate::domain::weather::gaps`]).
///
/// Readings from before the season help to bridge its first days. Days after the newest measured
/// day are never made up.
pub fn season_days(
    readings: &DailyReadings,
    season: &Season,
    until: NaiveDate,
    longest_gap: u32,
    estimates: &Estimates,
) -> Series {
    let last = until.min(season.end);
    let look_back = season.start - Days::new(u64::from(longest_gap) + 1);
    let measured: Vec<(NaiveDate, Extremes)> = if look_back <= last {
        readings
            .between(look_back, last)
            .filter_map(|(day, reading)| Some((day, reading.extremes()?)))
            .collect()
    } else {
        Vec::new()
    };
    let mut series = Series {
        days: Vec::with_capacity(measured.len()),
        data_through: measured
            .last()
            .map(|(day, _)| *day)
            .filter(|day| *day >= season.start),
        ..Series::default()
    };
    let mut estimated = estimates
        .range(season.start..)
        .map(|(day, _)| *day)
        .peekable();
    let mut is_estimate = |date: NaiveDate| {
        while estimated.next_if(|day| *day < date).is_some() {}
        estimated.peek() == Some(&date)
    };
    let mut previous: Option<(NaiveDate, Extremes)> = None;
    for (date, extremes) in measured {
        let missing_from = previous.map_or(Some(season.start), |(day, _)| day.succ_opt());
        let missing_from = missing_from.unwrap_or(date);
        if date > season.start && missing_from < date {
            let gap = Gap {
                from: missing_from.max(season.start),
                to: date - Days::new(1),
            };
            let short = (date - missing_from).num_days() <= i64::from(longest_gap);
            // Nothing is known of the days before the record begins, so its first day stands for
            // them.
            let before = previous.unwrap_or((season.start - Days::new(1), extremes));
            if !short {
                series.broken_by = Some(gap);
                return series;
            }
            for day in gap.from.iter_days().take_while(|day| *day <= gap.to) {
                let known = readings.get(day);
                let bridged = on_line(before, (date, extremes), day, known);
                series.days.extend(bridged.map(|extremes| Day {
                    date: day,
                    extremes,
                    estimated: true,
                }));
            }
        }
        if date >= season.start {
            series.days.push(Day {
                date,
                extremes,
                estimated: is_estimate(date),
            });
        }
        previous = Some((date, extremes));
    }
    series
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::season::MonthDay;
    use crate::domain::weather::reading::Reading;

    fn date(m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, m, d).unwrap()
    }

    fn season() -> Season {
        Season::starting_in(2026, MonthDay::parse("01-01").unwrap())
    }

    fn readings(days: &[(NaiveDate, Option<f64>, Option<f64>)]) -> DailyReadings {
        days.iter()
            .map(|(day, min, max)| {
                (
                    *day,
                    Reading {
                        min: *min,
                        max: *max,
                    },
                )
            })
            .collect()
    }

    #[test]
    fn a_short_gap_is_bridged_by_a_straight_line_and_marked() {
        let readings = readings(&[
            (date(1, 1), Some(0.0), Some(10.0)),
            (date(1, 4), Some(3.0), Some(16.0)),
        ]);
        let series = season_days(&readings, &season(), date(1, 31), 10, &Estimates::new());
        let got: Vec<_> = series
            .days
            .iter()
            .map(|d| (d.extremes.min(), d.extremes.max(), d.estimated))
            .collect();
        assert_eq!(
            got,
            [
                (0.0, 10.0, false),
                (1.0, 12.0, true),
                (2.0, 14.0, true),
                (3.0, 16.0, false)
            ]
        );
        assert_eq!(series.data_through, Some(date(1, 4)));
        assert_eq!(series.broken_by, None);
    }

    #[test]
    fn a_gap_over_the_limit_breaks_the_series_but_the_newest_day_is_still_known() {
        let readings = readings(&[
            (date(1, 1), Some(0.0), Some(10.0)),
            (date(1, 6), Some(3.0), Some(16.0)),
        ]);
        let series = season_days(&readings, &season(), date(1, 31), 3, &Estimates::new());
        assert_eq!(series.days.len(), 1);
        assert_eq!(series.data_through, Some(date(1, 6)));
        let gap = series.broken_by.unwrap();
        assert_eq!((gap.from, gap.to, gap.days()), (date(1, 2), date(1, 5), 4));
    }

    #[test]
    fn a_season_whose_first_days_are_missing_is_broken_from_the_start() {
        let readings = readings(&[(date(3, 1), Some(0.0), Some(10.0))]);
        let series = season_days(&readings, &season(), date(3, 31), 10, &Estimates::new());
        assert!(series.days.is_empty());
        assert_eq!(series.broken_by.unwrap().from, date(1, 1));
    }

    #[test]
    fn a_record_that_begins_a_few_days_late_is_bridged_from_its_first_day() {
        let readings = readings(&[(date(1, 3), Some(0.0), Some(10.0))]);
        let series = season_days(&readings, &season(), date(1, 31), 10, &Estimates::new());
        let estimated: Vec<bool> = series.days.iter().map(|day| day.estimated).collect();
        assert_eq!(estimated, [true, true, false]);
        assert_eq!(series.days[0].extremes.max(), 10.0);
        assert_eq!(series.broken_by, None);
    }

    #[test]
    fn the_turn_of_the_year_is_bridged_from_the_old_season() {
        let december = NaiveDate::from_ymd_opt(2025, 12, 30).unwrap();
        let readings = readings(&[
            (december, Some(0.0), Some(3.0)),
            (date(1, 2), Some(3.0), Some(6.0)),
        ]);
        let series = season_days(&readings, &season(), date(1, 31), 10, &Estimates::new());
        assert_eq!(series.days.len(), 2);
        assert_eq!(series.days[0].date, date(1, 1));
        assert!(series.days[0].estimated);
    }

    #[test]
    fn a_lone_extreme_is_kept_when_its_partner_is_bridged() {
        let readings = readings(&[
            (date(1, 1), Some(0.0), Some(10.0)),
            (date(1, 2), None, Some(30.0)),
            (date(1, 3), Some(2.0), Some(12.0)),
        ]);
        let series = season_days(&readings, &season(), date(1, 31), 10, &Estimates::new());
        let middle = series.days[1];
        assert_eq!((middle.extremes.min(), middle.extremes.max()), (1.0, 30.0));
        assert!(middle.estimated);
    }

    #[test]
    fn days_after_the_newest_measured_one_are_never_made_up() {
        let readings = readings(&[
            (date(1, 1), Some(0.0), Some(10.0)),
            (date(1, 2), None, Some(12.0)),
        ]);
        let series = season_days(&readings, &season(), date(1, 31), 10, &Estimates::new());
        assert_eq!(series.days.len(), 1);
        assert_eq!(series.data_through, Some(date(1, 1)));
    }

    #[test]
    fn swapped_extremes_count_as_missing() {
        let readings = readings(&[
            (date(1, 1), Some(0.0), Some(10.0)),
            (date(1, 2), Some(12.0), Some(5.0)),
            (date(1, 3), Some(2.0), Some(12.0)),
        ]);
        let series = season_days(&readings, &season(), date(1, 31), 10, &Estimates::new());
        assert!(series.days[1].estimated);
        assert_eq!(series.days[1].extremes.max(), 11.0);
    }
}
