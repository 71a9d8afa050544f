//! A site's days made of those of several stations: their weighted mean, or the first station's
//! that has the day.
//!
//! Only whole days are blended, so a day's minimum and maximum always come from the same stations
//! and stay in order. A station that lacks a day has no part in it, and the weights of the others
//! are taken as if they were all. Nothing is added for a difference in height or place: name
//! stations that stand like the site does.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::reading::Reading;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// How days of several stations become one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// The weighted mean of each extreme over the stations that have the day.
    Mean,
    /// The first station that has the day.
    Fallback,
}

impl Order {
    /// Every order with the name it has in configuration files.
    pub const NAMED: [(&'static str, Order); 2] =
        [("mean", Order::Mean), ("fallback", Order::Fallback)];
}

/// A station with a part in a site's days.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Identifier of the station.
    pub station: String,
    /// Its weight in a mean; above 0.
    pub weight: f64,
}

/// The stations that stand for a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Blend {
    /// At least one, in order.
    pub sources: Vec<Source>,
    /// How their days become one.
    pub order: Order,
}

/// Days of several stations as one, and what each was made of.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Blended {
    /// DailyReadings by day.
    pub readings: DailyReadings,
    /// The stations of each whole day, by their place in the order.
    pub made_of: BTreeMap<NaiveDate, Vec<usize>>,
}

/// Blends the days of stations, each with its weight.
///
/// # Method
/// Mean: Σ wᵢ·xᵢ / Σ wᵢ over the stations that have the whole day, for the minimum and the maximum
/// alone. Fallback: the day of the first of them. A day that no station has whole is left as the
/// first station has it, so that a lone extreme is not lost.
///
/// # Units
/// °C; weights have none.
///
/// # Valid range
/// Weights above 0.
///
/// # References
/// A weighted mean; common practice, no source.
///
/// # Examples
/// ```
/// use hatchbell::domain::weather::blend::{Order, blended};
/// use hatchbell::domain::weather::daily_readings::DailyReadings;
/// use hatchbell::domain::weather::reading::Reading;
/// let day = "2026-07-02".parse().unwrap();
/// let of = |min, max| DailyReadings::from_iter([(day, Reading { min: Some(min), max: Some(max) })]);
/// let (valley, hill) = (of(12.0, 26.0), of(9.0, 23.0));
/// let mean = blended(&[(&valley, 2.0), (&hill, 1.0)], Order::Mean);
/// assert_eq!(mean.readings[&day], Reading { min: Some(11.0), max: Some(25.0) });
/// ```
pub fn blended(stations: &[(&DailyReadings, f64)], order: Order) -> Blended {
    let mut blended = Blended::default();
    if let Some((first, _)) = stations.first() {
        blended.readings = (*first).clone();
    }
    let days: BTreeSet<NaiveDate> = stations
        .iter()
        .flat_map(|(readings, _)| readings.iter().map(|(day, _)| day))
        .collect();
    for day in days {
        let mut whole: Vec<(usize, Extremes, f64)> = stations
            .iter()
            .enumerate()
            .filter_map(|(place, (readings, weight))| {
                Some((place, readings.extremes(day)?, *weight))
            })
            .collect();
        if order == Order::Fallback {
            whole.truncate(1);
        }
        if let Some(reading) = mean(&whole) {
            blended.readings.set(day, reading);
            let places = whole.iter().map(|(place, _, _)| *place).collect();
            blended.made_of.insert(day, places);
        }
    }
    blended
}

fn mean(whole: &[(usize, Extremes, f64)]) -> Option<Reading> {
    if let [(_, one, _)] = whole {
        // As it was measured, without rounding.
        return Some(Reading {
            min: Some(one.min()),
            max: Some(one.max()),
        });
    }
    let weights: f64 = whole.iter().map(|(_, _, weight)| weight).sum();
    let of = |value: fn(&Extremes) -> f64| {
        let sum: f64 = whole
            .iter()
            .map(|(_, day, weight)| value(day) * weight)
            .sum();
        sum / weights
    };
    (weights > 0.0).then(|| Reading {
        min: Some(of(|day| day.min())),
        max: Some(of(|day| day.max())),
    })
}

/// Which days of a site a station has a part in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PartIn {
    /// The [`NEWEST_DAYS`] newest whole ones.
    Newest,
    /// Those before the station's own record.
    Past,
    /// Those of the season that were missing and that it stands in for, as a neighbour.
    Missing,
}

/// A station's part in the days of a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Which days.
    pub of: PartIn,
    /// Identifier of the station.
    pub station: String,
    /// Its name shown to people.
    pub name: String,
    /// In how many of the days it has a part.
    pub days: usize,
}

/// How many newest days [`parts`] looks at.
pub const NEWEST_DAYS: usize = 10;

/// In how many of the [`NEWEST_DAYS`] newest whole days each station has a part.
pub fn parts(made_of: &BTreeMap<NaiveDate, Vec<usize>>, stations: usize) -> Vec<usize> {
    let mut counts = vec![0; stations];
    for place in made_of.values().rev().take(NEWEST_DAYS).flatten() {
        counts[*place] += 1;
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 7, day).unwrap()
    }

    /// Days with one mean, half a day's range of 6 °C to both sides.
    fn station(days: std::ops::RangeInclusive<u32>, mean: f64) -> DailyReadings {
        days.map(|day| {
            let reading = Reading {
                min: Some(mean - 6.0),
                max: Some(mean + 6.0),
            };
            (date(day), reading)
        })
        .collect()
    }

    #[test]
    fn the_first_station_that_has_the_whole_day_gives_it() {
        let mut first = station(1..=4, 20.0);
        first.set(
            date(3),
            Reading {
                min: None,
                max: Some(26.0),
            },
        );
        let second = station(2..=6, 18.0);
        let blended = blended(&[(&first, 1.0), (&second, 1.0)], Order::Fallback);
        let of: Vec<usize> = blended.made_of.values().map(|places| places[0]).collect();
        assert_eq!(of, [0, 0, 1, 0, 1, 1]);
        assert_eq!(blended.readings[&date(3)].max, Some(24.0), "never mixed");
        assert_eq!(parts(&blended.made_of, 2), [3, 3]);
    }

    #[test]
    fn a_mean_is_weighted_and_a_missing_station_leaves_it_to_the_others() {
        let (first, second, third) = (
            station(1..=3, 20.0),
            station(1..=2, 17.0),
            station(1..=1, 8.0),
        );
        let mean = blended(&[(&first, 2.0), (&second, 1.0), (&third, 1.0)], Order::Mean);
        let max = |day| mean.readings[&date(day)].max.unwrap();
        assert_eq!(max(1), (2.0 * 26.0 + 23.0 + 14.0) / 4.0);
        assert_eq!(max(2), (2.0 * 26.0 + 23.0) / 3.0);
        assert_eq!(max(3), 26.0);
        assert_eq!(mean.made_of[&date(1)], [0, 1, 2]);
        assert_eq!(mean.made_of[&date(3)], [0]);
    }

    #[test]
    fn one_station_is_left_as_it_is() {
        let mut one = station(1..=3, 20.05);
        one.set(
            date(9),
            Reading {
                min: Some(1.0),
                max: None,
            },
        );
        for (_, order) in Order::NAMED {
            assert_eq!(blended(&[(&one, 0.3)], order).readings, one);
        }
    }

    #[test]
    fn only_the_newest_ten_days_are_tallied() {
        let long: BTreeMap<NaiveDate, Vec<usize>> = (0..40)
            .map(|index| (date(1) + Days::new(index), vec![usize::from(index >= 32)]))
            .collect();
        assert_eq!(parts(&long, 2), [2, 8]);
    }
}
