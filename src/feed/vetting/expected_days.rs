//! What a station's new days are expected to be like, from whatever is known: its own stored days of
//! the same time of year, its neighbours' same days, or nothing but latitude and height.

use super::stored_days::as_published;
use super::yardstick::{DAYS_TO_COMPARE, OtherStation};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::{Reading, Readings};
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;
use std::f64::consts::{LN_2, TAU};

/// Days before and after a date whose stored values say what is usual.
const AROUND_DAYS: i64 = 15;
/// Stored values around a date needed to say so: most of one year's.
const FEWEST_AROUND: usize = 20;
/// Days of a leap year.
const YEAR: usize = 366;
/// By how much a month is warmer or colder than usual (standard deviation), °C, as long as a
/// station's own years say little of it; a year, and the least that is believed.
const MONTH_SPREAD_C: f64 = 3.0;
const LEAST_SPREAD_C: f64 = 1.5;
/// The same of ten days.
const MOST_SPREAD_C: f64 = 4.5;
/// Years that this counts for.
const PRIOR_YEARS: f64 = 3.0;
/// By how much two neighbours differ for good, standard deviation, °C.
const NEIGHBOUR_SPREAD_C: f64 = 2.5;
/// Standard deviation of the logarithm of a month's mean daily range.
const RANGE_SPREAD: f64 = 0.22;
/// The same of the spread of single days about the usual.
const SCATTER_SPREAD: f64 = 0.4;
/// By how much months at one latitude and height differ, standard deviation, °C.
const LATITUDE_SPREAD_C: f64 = 7.0;
/// … and the logarithm of their daily ranges.
const LATITUDE_RANGE_SPREAD: f64 = 0.35;
/// The usual daily range on land, °C (common practice, no source).
const USUAL_RANGE_C: f64 = 10.0;
/// Fall of the temperature with height, °C a metre: the standard atmosphere's (ISO 2533).
const LAPSE_C: f64 = 0.0065;
/// Below this sum of squares the days are as expected.
const FITS: f64 = 9.0;
/// Another unit must fit better by so much.
const CLEARLY: f64 = 10.0;
/// … and leave no more than this.
const FITS_ANOTHER: f64 = 12.0;
/// Beyond this they are of no such station, whatever the unit.
const STRANGE: f64 = 60.0;

/// What days are expected to be like, and how far off they may be.
pub(super) struct ExpectedDays {
    /// What it is taken from, in words.
    pub source: &'static str,
    days: Readings,
    level_spread_c: f64,
    range_spread: f64,
    /// How far single days lie from the usual (median), °C.
    scatter_c: Option<f64>,
}

/// How new days lie to what is expected, if they are read in some unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Departure {
    /// Days compared.
    pub days: usize,
    /// Warmer by this (median), °C.
    pub warmer_c: f64,
    /// Daily range as a share of the usual.
    pub range_share: Option<f64>,
    /// Sum of squares of how far level, range and scatter are off, in standard deviations.
    score: f64,
}

/// What an expectation says of a file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Opinion {
    /// As expected.
    Fits,
    /// Neither as expected nor clearly something else.
    Open,
    /// Far off, and as expected once it is read in this unit.
    Unit(Unit, Departure),
    /// Far off in every unit.
    Strange(Departure),
}

impl ExpectedDays {
    /// From the station's own stored days.
    pub fn of_climate(readings: &Readings, stored: &Readings) -> Self {
        let usual = UsualDays::of(stored, readings);
        let days: Readings = readings
            .keys()
            .filter_map(|day| Some((*day, *usual.days.get(&place_in_year(*day))?)))
            .collect();
        let (years, scatter_c) = usual.departures(stored);
        let few = days.len().max(1) as f64;
        let prior = (MONTH_SPREAD_C * (30.0 / few).sqrt()).clamp(LEAST_SPREAD_C, MOST_SPREAD_C);
        let squares: f64 = years.iter().map(|by| by * by).sum();
        let variance = (PRIOR_YEARS * prior * prior + squares) / (PRIOR_YEARS + years.len() as f64);
        Self {
            source: "its own stored days of the same time of year",
            days,
            level_spread_c: variance.sqrt().max(LEAST_SPREAD_C),
            range_spread: RANGE_SPREAD,
            scatter_c,
        }
    }

    /// From the same days of its neighbours, brought to its height.
    pub fn of_neighbours(
        readings: &Readings,
        others: &[OtherStation],
        elevation_m: Option<f64>,
    ) -> Self {
        let neighbours: Vec<&OtherStation> =
            others.iter().filter(|other| other.is_neighbour).collect();
        let mut days = Readings::new();
        for day in readings.keys() {
            let mean = |pick: fn(&Reading) -> Option<f64>| {
                let there: Vec<f64> = neighbours
                    .iter()
                    .filter_map(|other| {
                        let higher = elevation_m.zip(other.elevation_m);
                        let lapse = higher.map_or(0.0, |(own, there)| (there - own) * LAPSE_C);
                        Some(pick(other.readings.get(day)?)? + lapse)
                    })
                    .collect();
                (!there.is_empty()).then(|| there.iter().sum::<f64>() / there.len() as f64)
            };
            let reading = Reading {
                max: mean(|reading| reading.max),
                min: mean(|reading| reading.min),
            };
            if reading != Reading::default() {
                days.insert(*day, reading);
            }
        }
        Self {
            source: "the same days of its neighbours",
            days,
            level_spread_c: NEIGHBOUR_SPREAD_C,
            range_spread: RANGE_SPREAD,
            scatter_c: None,
        }
    }

    /// From latitude and height alone.
    ///
    /// # Method
    /// Annual mean 27 °C − 34 °C·sin² φ, half the difference of summer and winter 18 °C·sin |φ|, warmest
    /// on 20 July (20 January south of the equator), 6.5 °C colder for each km of height.
    ///
    /// # Valid range
    /// Land where turf is kept. Real months lie up to some 15 °C beside it, so it tells units only.
    ///
    /// # References
    /// Rough means over land, from memory; the fall with height is the standard atmosphere's.
    pub fn of_latitude(readings: &Readings, latitude: f64, elevation_m: Option<f64>) -> Self {
        let sine = latitude.to_radians().sin();
        let annual = 27.0 - 34.0 * sine * sine - LAPSE_C * elevation_m.unwrap_or(0.0);
        let days = readings
            .keys()
            .map(|day| {
                let since_warmest = f64::from(day.ordinal()) - 201.0;
                let season = 18.0 * sine * (TAU * since_warmest / 365.25).cos();
                let reading = Reading {
                    max: Some(annual + season + USUAL_RANGE_C / 2.0),
                    min: Some(annual + season - USUAL_RANGE_C / 2.0),
                };
                (*day, reading)
            })
            .collect();
        Self {
            source: "what its latitude and height let expect",
            days,
            level_spread_c: LATITUDE_SPREAD_C,
            range_spread: LATITUDE_RANGE_SPREAD,
            scatter_c: None,
        }
    }

    /// What it says of days that were read in a unit; nothing with too few days.
    pub fn opinion(&self, readings: &Readings, bound: Unit) -> Option<Opinion> {
        let as_bound = self.departure(readings, |celsius| celsius)?;
        if as_bound.score <= FITS {
            return Some(Opinion::Fits);
        }
        let best = Unit::NAMED
            .iter()
            .map(|(_, unit)| *unit)
            .filter(|unit| *unit != bound)
            .filter_map(|unit| {
                let reread = |celsius| unit.to_celsius(as_published(bound, celsius));
                Some((unit, self.departure(readings, reread)?.score))
            })
            .min_by(|one, two| one.1.total_cmp(&two.1));
        Some(match best {
            Some((unit, score)) if score <= FITS_ANOTHER && score + CLEARLY <= as_bound.score => {
                Opinion::Unit(unit, as_bound)
            }
            _ if as_bound.score > STRANGE => Opinion::Strange(as_bound),
            _ => Opinion::Open,
        })
    }

    fn departure(&self, readings: &Readings, reread: impl Fn(f64) -> f64) -> Option<Departure> {
        let (mut levels, mut ranges, mut usual) = (Vec::new(), Vec::new(), Vec::new());
        for (day, expected) in &self.days {
            let Some(reading) = readings.get(day) else {
                continue;
            };
            let departures: Vec<f64> =
                [reading.max.zip(expected.max), reading.min.zip(expected.min)]
                    .into_iter()
                    .flatten()
                    .map(|(celsius, expected)| reread(celsius) - expected)
                    .collect();
            if departures.is_empty() {
                continue;
            }
            levels.push(departures.iter().sum::<f64>() / departures.len() as f64);
            if let (Some(max), Some(min), Some(usual_max), Some(usual_min)) =
                (reading.max, reading.min, expected.max, expected.min)
            {
                ranges.push(reread(max) - reread(min));
                usual.push(usual_max - usual_min);
            }
        }
        if levels.len() < DAYS_TO_COMPARE {
            return None;
        }
        let days = levels.len();
        let warmer_c = median(&mut levels)?;
        let range_share = if ranges.len() >= DAYS_TO_COMPARE {
            Some(median(&mut ranges)?.max(0.1) / median(&mut usual)?.max(0.1))
        } else {
            None
        };
        let scatter = self.scatter_c.and_then(|usual| {
            let mut from_median: Vec<f64> = levels
                .iter()
                .map(|level| (level - warmer_c).abs())
                .collect();
            Some((median(&mut from_median)?.max(0.05) / usual.max(0.05)).ln())
        });
        let level = warmer_c / self.level_spread_c;
        let range = range_share.map_or(0.0, |share| share.ln() / self.range_spread);
        let scatter = scatter.map_or(0.0, |scatter| {
            // A few days differ less among themselves than those of all years.
            (scatter.abs() - LN_2 / 2.0).max(0.0) / SCATTER_SPREAD
        });
        Some(Departure {
            days,
            warmer_c,
            range_share,
            score: level * level + range * range + scatter * scatter,
        })
    }
}

/// A station's usual days: medians over the stored years, by the place in the year.
struct UsualDays {
    days: BTreeMap<usize, Reading>,
}

impl UsualDays {
    /// For the days of the year that a file has.
    fn of(stored: &Readings, readings: &Readings) -> Self {
        let mut maxima: Vec<Vec<f64>> = vec![Vec::new(); YEAR];
        let mut minima = maxima.clone();
        for (day, reading) in stored {
            let place = place_in_year(*day);
            maxima[place].extend(reading.max);
            minima[place].extend(reading.min);
        }
        let usual = |values: &[Vec<f64>], place: usize| {
            let mut around: Vec<f64> = (-AROUND_DAYS..=AROUND_DAYS)
                .flat_map(|step| {
                    let there = (place as i64 + step).rem_euclid(YEAR as i64);
                    values[there as usize].iter().copied()
                })
                .collect();
            (around.len() >= FEWEST_AROUND)
                .then(|| median(&mut around))
                .flatten()
        };
        let mut days = BTreeMap::new();
        for day in readings.keys() {
            days.entry(place_in_year(*day))
                .or_insert_with_key(|place| Reading {
                    max: usual(&maxima, *place),
                    min: usual(&minima, *place),
                });
        }
        days.retain(|_, reading| *reading != Reading::default());
        Self { days }
    }

    /// By how much each stored year was warmer on these days of the year, and how far single days
    /// lie from the usual (median), °C.
    fn departures(&self, stored: &Readings) -> (Vec<f64>, Option<f64>) {
        let mut years: BTreeMap<i32, Vec<f64>> = BTreeMap::new();
        let mut all = Vec::new();
        for (day, reading) in stored {
            let Some(usual) = self.days.get(&place_in_year(*day)) else {
                continue;
            };
            let departures: Vec<f64> = [reading.max.zip(usual.max), reading.min.zip(usual.min)]
                .into_iter()
                .flatten()
                .map(|(celsius, usual)| celsius - usual)
                .collect();
            if !departures.is_empty() {
                let level = departures.iter().sum::<f64>() / departures.len() as f64;
                years.entry(day.year()).or_default().push(level);
                all.push(level.abs());
            }
        }
        let whole = self.days.len().div_ceil(2);
        let years = years
            .into_values()
            .filter(|days| days.len() >= whole)
            .map(|days| days.iter().sum::<f64>() / days.len() as f64)
            .collect();
        (years, median(&mut all))
    }
}

/// A day's place in a leap year, from 0.
fn place_in_year(day: NaiveDate) -> usize {
    day.with_year(2024).map_or(0, |day| day.ordinal0() as usize)
}

fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
