//! What a station's new days are expected to be like, from whatever is known: its own stored days of
//! the same time of year, its neighbours' same days, or nothing but latitude and height.

use super::median::median;
use super::stored_days::{as_published, both};
use super::time_of_year::{YEAR, place_in_year};
use super::yardstick::{DAYS_TO_COMPARE, OtherStation};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::gaps::LAPSE_C_PER_M;
use crate::domain::weather::reading::{Reading, Readings};
use chrono::{Datelike, NaiveDate, TimeDelta};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Days before and after a date whose stored values say what is usual.
const AROUND_DAYS: i64 = 15;
/// Stored values around a date needed to say so: most of one year's.
const FEWEST_AROUND: usize = 20;
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
/// The same of its steps from day to day, and of the scatter of its days.
const SWING_SPREAD: f64 = 0.25;
/// By how much months at one latitude and height differ, standard deviation, °C.
const LATITUDE_SPREAD_C: f64 = 6.0;
/// … and the logarithm of their daily ranges.
const LATITUDE_RANGE_SPREAD: f64 = 0.35;
/// The usual daily range on land, °C (common practice, no source).
const USUAL_RANGE_C: f64 = 10.0;
/// Below this sum of squares the days are as expected.
const FITS: f64 = 9.0;
/// Another unit must fit better by so much.
const CLEARLY: f64 = 10.0;
/// Beyond this they are of no such station, whatever the unit.
const STRANGE: f64 = 60.0;

/// What days are expected to be like, and how far off they may be.
pub(super) struct ExpectedDays {
    /// What it is taken from, in words.
    pub source: &'static str,
    days: Readings,
    level_spread_c: f64,
    range_spread: f64,
    /// Logarithms of the usual swings and their spread.
    swings: Option<[(f64, f64); 2]>,
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
    /// Sum of squares of how far level, range and swings are off, in standard deviations.
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
        let years = usual.years(stored);
        let few = days.len().max(1) as f64;
        let prior = (MONTH_SPREAD_C * (30.0 / few).sqrt()).clamp(LEAST_SPREAD_C, MOST_SPREAD_C);
        let levels = years.iter().map(|year| year.0);
        let usual_swing = |which: usize| {
            let mut swings: Vec<f64> = years.iter().map(|year| year.1[which]).collect();
            let usual = median(&mut swings)?;
            let departures = swings.iter().map(|swing| swing - usual);
            Some((usual, spread(departures, SWING_SPREAD).max(SWING_SPREAD)))
        };
        Self {
            source: "its own stored days of the same time of year",
            days,
            level_spread_c: spread(levels, prior).max(LEAST_SPREAD_C),
            range_spread: RANGE_SPREAD,
            swings: usual_swing(0)
                .zip(usual_swing(1))
                .map(|(step, scatter)| [step, scatter]),
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
                        let lapse =
                            higher.map_or(0.0, |(own, there)| (there - own) * LAPSE_C_PER_M);
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
            swings: None,
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
        let annual = 27.0 - 34.0 * sine * sine - LAPSE_C_PER_M * elevation_m.unwrap_or(0.0);
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
            swings: None,
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
            Some((unit, score)) if score + CLEARLY <= as_bound.score && score <= STRANGE => {
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
            let Some(level) = level(reading, expected, &reread) else {
                continue;
            };
            levels.push((*day, level));
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
        let swings = match (self.swings, log_swings(&levels)) {
            (Some(usual), Some(here)) => {
                let off = usual
                    .iter()
                    .zip(here)
                    .map(|((usual, spread), here)| (here - usual) / spread);
                off.map(|off| off * off).sum()
            }
            _ => 0.0,
        };
        let days = levels.len();
        let warmer_c = median(&mut values_of(&levels))?;
        let range_share = if ranges.len() >= DAYS_TO_COMPARE {
            Some(median(&mut ranges)?.max(0.1) / median(&mut usual)?.max(0.1))
        } else {
            None
        };
        let level = warmer_c / self.level_spread_c;
        let range = range_share.map_or(0.0, |share| share.ln() / self.range_spread);
        Some(Departure {
            days,
            warmer_c,
            range_share,
            score: level * level + range * range + swings,
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
        // Where a file has one of the extremes only, its days are no means of two.
        let mostly = |has: fn(&Reading) -> bool| {
            2 * readings.values().filter(|reading| has(reading)).count() > readings.len()
        };
        let (with_max, with_min) = (mostly(|r| r.max.is_some()), mostly(|r| r.min.is_some()));
        let mut days = BTreeMap::new();
        for day in readings.keys() {
            let of_place = |place: &usize| Reading {
                max: usual(&maxima, *place).filter(|_| with_max),
                min: usual(&minima, *place).filter(|_| with_min),
            };
            days.entry(place_in_year(*day)).or_insert_with_key(of_place);
        }
        days.retain(|_, reading| *reading != Reading::default());
        Self { days }
    }

    /// By how much each stored year was warmer on these days of the year, °C, and its swings.
    fn years(&self, stored: &Readings) -> Vec<(f64, [f64; 2])> {
        let mut years: BTreeMap<i32, Vec<(NaiveDate, f64)>> = BTreeMap::new();
        for (day, reading) in stored {
            let usual = self.days.get(&place_in_year(*day));
            if let Some(level) = usual.and_then(|usual| level(reading, usual, |celsius| celsius)) {
                years.entry(day.year()).or_default().push((*day, level));
            }
        }
        let whole = self.days.len().div_ceil(2);
        years
            .into_values()
            .filter(|days| days.len() >= whole)
            .filter_map(|days| Some((median(&mut values_of(&days))?, log_swings(&days)?)))
            .collect()
    }
}

/// By how much a day is warmer than expected, °C: the mean of its extremes that are there.
fn level(reading: &Reading, expected: &Reading, reread: impl Fn(f64) -> f64) -> Option<f64> {
    let departures = both(reading, expected);
    let there = departures.iter().flatten();
    let sum: f64 = there
        .clone()
        .map(|(celsius, expected)| reread(*celsius) - expected)
        .sum();
    let count = there.count();
    (count > 0).then(|| sum / count as f64)
}

fn values_of(days: &[(NaiveDate, f64)]) -> Vec<f64> {
    days.iter().map(|(_, value)| *value).collect()
}

/// How days swing: logarithms of the step from one to the next (upper quartile, because values in
/// whole degrees often repeat), and of how far they lie from their median (median).
fn log_swings(days: &[(NaiveDate, f64)]) -> Option<[f64; 2]> {
    let mut steps: Vec<f64> = days
        .windows(2)
        .filter(|pair| pair[1].0 - pair[0].0 == TimeDelta::days(1))
        .map(|pair| (pair[1].1 - pair[0].1).abs())
        .collect();
    if steps.len() + 1 < DAYS_TO_COMPARE {
        return None;
    }
    let middle = median(&mut values_of(days))?;
    let mut away: Vec<f64> = days
        .iter()
        .map(|(_, value)| (value - middle).abs())
        .collect();
    let quartile = steps.len() * 3 / 4;
    let step = *steps.select_nth_unstable_by(quartile, f64::total_cmp).1;
    Some([step, median(&mut away)?].map(|swing| swing.max(0.05).ln()))
}

/// The standard deviation of departures, a few of which say little beside what is usual elsewhere.
fn spread(departures: impl Iterator<Item = f64>, usual: f64) -> f64 {
    let (squares, count) = departures.fold(
        (PRIOR_YEARS * usual * usual, PRIOR_YEARS),
        |(squares, count), by| (squares + by * by, count + 1.0),
    );
    (squares / count).sqrt()
}
