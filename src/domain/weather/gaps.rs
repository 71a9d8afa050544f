//! Estimating missing days: from neighbouring stations, else from the station's own other years.
//!
//! Short gaps without a neighbour are left to the straight line ([`on_line`]), drawn where a season is
//! summed up. Which comes first was measured by leaving days out on 53 stations; DEVELOPERS.md has
//! the figures.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::reading::Reading;
use chrono::{Datelike, Days, NaiveDate};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// Common days around a month that a neighbour's correction needs.
pub const FEWEST_COMMON_DAYS: usize = 30;

/// Fall of temperature with height, °C per m: 6.5 °C per km in the International Standard
/// Atmosphere.
pub const LAPSE_C_PER_M: f64 = 0.0065;

/// Days to either side of a calendar day that stand for it in the station's own other years.
const CLIMATE_DAYS: i64 = 7;

/// Other years needed for that.
const FEWEST_YEARS: usize = 5;

/// Variance assumed of a neighbour that is corrected by height alone, °C².
const VARIANCE_BY_HEIGHT: f64 = 9.0;

/// How a day was estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// By neighbouring stations.
    Neighbours,
    /// By the same days of the station's other years.
    Climatology,
}

/// Days that were estimated, with how.
pub type Estimates = BTreeMap<NaiveDate, How>;

/// A station nearby.
#[derive(Debug, Clone, Copy)]
pub struct Neighbour<'n> {
    /// Its readings.
    pub readings: &'n DailyReadings,
    /// How much higher it stands than the station, m; `None` if unknown.
    pub height_above_m: Option<f64>,
}

/// A station's readings with estimates where it has none.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Completed {
    /// Measured and estimated readings.
    pub readings: DailyReadings,
    /// Which of them are estimated.
    pub estimates: Estimates,
    /// The neighbours that each day estimated by them comes from, by their place in the list.
    pub stood_in: BTreeMap<NaiveDate, Vec<usize>>,
}

/// Completes a station's readings between its first and its newest measured day.
///
/// # Method
/// A missing day is taken from the neighbours that have it, each corrected separately for minimum
/// and maximum by the mean difference over the common days of the three months around, averaged
/// with the inverse of each one's residual variance as weight. With fewer than
/// [`FEWEST_COMMON_DAYS`] common days a neighbour is corrected by height instead, and left out if
/// the height is unknown. Without a neighbour, days in gaps longer than `longest_line` are the mean
/// of the same calendar day ± 7 days over at least five other years; shorter gaps are left to the
/// straight line. A minimum or maximum that was measured alone is kept.
///
/// # Units
/// °C; heights in m.
///
/// # Valid range
/// Days after the newest measured day are never made up.
///
/// # References
/// Correction by mean differences and inverse variances: common practice in climatology, no
/// single source. Lapse rate: International Standard Atmosphere, ISO 2533 (from memory).
pub fn complete(
    readings: &DailyReadings,
    neighbours: &[Neighbour<'_>],
    longest_line: u32,
) -> Completed {
    let mut completed = Completed {
        readings: readings.clone(),
        ..Completed::default()
    };
    let gaps = gaps(readings);
    if gaps.is_empty() {
        return completed;
    }
    let corrections: Vec<Corrections> = neighbours
        .iter()
        .map(|neighbour| Corrections::between(readings, neighbour, &months_of(&gaps)))
        .collect();
    let mut climate = CalendarDays::of(readings);
    for (from, to) in gaps {
        let long = (to - from).num_days() + 1 > i64::from(longest_line);
        for day in from.iter_days().take_while(|day| *day <= to) {
            let known = readings.get(day);
            let by_neighbours = from_neighbours(neighbours, &corrections, day);
            let estimate = by_neighbours
                .map(|extremes| (extremes, How::Neighbours))
                .or_else(|| {
                    let extremes = if long { climate.of_day(day) } else { None }?;
                    Some((extremes, How::Climatology))
                });
            if let Some((extremes, how)) = estimate {
                let whole = beside(known, extremes.min(), extremes.max());
                completed.readings.set(day, whole);
                completed.estimates.insert(day, how);
                if how == How::Neighbours {
                    let who = having(neighbours, &corrections, day).map(|(place, ..)| place);
                    completed.stood_in.insert(day, who.collect());
                }
            }
        }
    }
    completed
}

/// Whether a station lacks days between its first and its newest measured one.
pub fn has_gaps(readings: &DailyReadings) -> bool {
    let mut known = readings
        .in_order()
        .iter()
        .map(|day| day.extremes().is_some());
    // After the first measured day a gap begins; a measured day after it ends it.
    known.any(|known| known) && known.any(|known| !known) && known.any(|known| known)
}

/// Days without both extremes between the first and the newest measured day.
fn gaps(readings: &DailyReadings) -> Vec<(NaiveDate, NaiveDate)> {
    let Some(first) = readings.first_day() else {
        return Vec::new();
    };
    let mut gaps = Vec::new();
    let mut previous: Option<usize> = None;
    for (place, reading) in readings.in_order().iter().enumerate() {
        if reading.extremes().is_none() {
            continue;
        }
        if let Some(previous) = previous.filter(|previous| place - previous > 1) {
            let day = |place: usize| first + Days::new(place as u64);
            gaps.push((day(previous + 1), day(place - 1)));
        }
        previous = Some(place);
    }
    gaps
}

/// The months that gaps lie in.
fn months_of(gaps: &[(NaiveDate, NaiveDate)]) -> Months {
    let mut months = Months::default();
    for (from, to) in gaps {
        for day in from.iter_days().take_while(|day| day <= to).take(366) {
            months[day.month0() as usize] = true;
        }
    }
    months
}

/// Keeps an extreme that was measured alone; the estimate gives way to it.
fn beside(known: Reading, estimated_min: f64, estimated_max: f64) -> Reading {
    let swapped = matches!((known.min, known.max), (Some(min), Some(max)) if min > max);
    let known = if swapped { Reading::default() } else { known };
    let mut min = known.min.unwrap_or(estimated_min);
    let mut max = known.max.unwrap_or(estimated_max);
    if min > max {
        if known.min.is_some() {
            max = min;
        } else {
            min = max;
        }
    }
    Reading {
        min: Some(min),
        max: Some(max),
    }
}

/// A day on the straight line between the whole days on both sides of its gap. An extreme that was
/// measured alone (`known`) is kept. This is the line that sums are made of.
pub fn on_line(
    before: (NaiveDate, Extremes),
    after: (NaiveDate, Extremes),
    day: NaiveDate,
    known: Reading,
) -> Option<Extremes> {
    let span = (after.0 - before.0).num_days() as f64;
    let share = (day - before.0).num_days() as f64 / span;
    let between = |a: f64, b: f64| a + (b - a) * share;
    let whole = beside(
        known,
        between(before.1.min(), after.1.min()),
        between(before.1.max(), after.1.max()),
    );
    whole.extremes()
}

/// A correction: what is added, and the variance of what remains, °C².
#[derive(Debug, Clone, Copy)]
struct Correction {
    add: f64,
    variance: f64,
}

/// Corrections of minimum and maximum for each month.
pub(super) struct Corrections([Option<(Correction, Correction)>; 12]);

/// The months, from 0, that days are estimated in.
pub(super) type Months = [bool; 12];

impl Corrections {
    /// Of a neighbour in the months that are wanted.
    pub(super) fn between(own: &DailyReadings, neighbour: &Neighbour<'_>, wanted: &Months) -> Self {
        let around = |month: usize| [(month + 11) % 12, month, (month + 1) % 12];
        let is_needed: Months =
            std::array::from_fn(|month| around(month).iter().any(|month| wanted[*month]));
        let mut differences: [Vec<(f64, f64)>; 12] = Default::default();
        for (day, own, other) in own.overlap(neighbour.readings) {
            let month = day.month0() as usize;
            if !is_needed[month] {
                continue;
            }
            if let Some((own, other)) = own.extremes().zip(other.extremes()) {
                differences[month].push((own.min() - other.min(), own.max() - other.max()));
            }
        }
        let by_height = neighbour.height_above_m.map(|height| {
            let correction = Correction {
                add: height * LAPSE_C_PER_M,
                variance: VARIANCE_BY_HEIGHT,
            };
            (correction, correction)
        });
        Self(std::array::from_fn(|month| {
            if !wanted[month] {
                return None;
            }
            let around: Vec<(f64, f64)> = around(month)
                .into_iter()
                .flat_map(|month| differences[month].iter().copied())
                .collect();
            if around.len() < FEWEST_COMMON_DAYS {
                return by_height;
            }
            let of = |pick: fn(&(f64, f64)) -> f64| {
                let n = around.len() as f64;
                let mean = around.iter().map(pick).sum::<f64>() / n;
                let variance = around.iter().map(|d| (pick(d) - mean).powi(2)).sum::<f64>() / n;
                Correction {
                    add: mean,
                    // Identical stations would weigh infinitely.
                    variance: variance.max(0.01),
                }
            };
            Some((of(|d| d.0), of(|d| d.1)))
        }))
    }
}

pub(super) fn from_neighbours(
    neighbours: &[Neighbour<'_>],
    corrections: &[Corrections],
    day: NaiveDate,
) -> Option<Extremes> {
    let (mut min, mut max) = (Weighted::default(), Weighted::default());
    for (_, extremes, (of_min, of_max)) in having(neighbours, corrections, day) {
        min.add(extremes.min() + of_min.add, of_min.variance);
        max.add(extremes.max() + of_max.add, of_max.variance);
    }
    ordered(min.mean()?, max.mean()?)
}

/// The neighbours that have a day and can be corrected, each with its place, the day and its
/// corrections of minimum and maximum.
fn having(
    neighbours: &[Neighbour<'_>],
    corrections: &[Corrections],
    day: NaiveDate,
) -> impl Iterator<Item = (usize, Extremes, (Correction, Correction))> {
    let corrected = neighbours.iter().zip(corrections).enumerate();
    corrected.filter_map(move |(place, (neighbour, corrections))| {
        let extremes = neighbour.readings.extremes(day)?;
        let correction = corrections.0[day.month0() as usize]?;
        Some((place, extremes, correction))
    })
}

#[derive(Default)]
struct Weighted {
    sum: f64,
    weight: f64,
}

impl Weighted {
    fn add(&mut self, value: f64, variance: f64) {
        self.sum += value / variance;
        self.weight += 1.0 / variance;
    }

    fn mean(&self) -> Option<f64> {
        (self.weight > 0.0).then(|| self.sum / self.weight)
    }
}

/// Extremes even where independent corrections have put them out of order.
fn ordered(min: f64, max: f64) -> Option<Extremes> {
    if min <= max {
        Extremes::new(min, max)
    } else {
        let middle = (min + max) / 2.0;
        Extremes::new(middle, middle)
    }
}

/// Sums over days: of minima, of maxima, and how many they are.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    min: f64,
    max: f64,
    days: u32,
}

/// The same calendar days in a station's years. Running sums make every span of days one
/// subtraction, and each calendar day is summed over the years once, however often it is missing.
pub(super) struct CalendarDays {
    first: NaiveDate,
    years: RangeInclusive<i32>,
    /// The sums up to the start of each day from `first` on.
    running: Vec<Sums>,
    /// For calendar days that were asked for: the sums over all years, and in how many of them
    /// there are days.
    calendar: BTreeMap<(u32, u32), (Sums, usize)>,
}

impl CalendarDays {
    pub(super) fn of(readings: &DailyReadings) -> Self {
        let first = readings.first_day().unwrap_or_default();
        let last = readings.last_day().unwrap_or_default();
        let mut sums = Sums::default();
        let mut running = vec![sums];
        running.extend(readings.in_order().iter().map(|reading| {
            if let Some(extremes) = reading.extremes() {
                sums.min += extremes.min();
                sums.max += extremes.max();
                sums.days += 1;
            }
            sums
        }));
        Self {
            first,
            years: first.year()..=last.year(),
            running,
            calendar: BTreeMap::new(),
        }
    }

    /// The mean of the same calendar day ± 7 days over the station's other years.
    pub(super) fn of_day(&mut self, day: NaiveDate) -> Option<Extremes> {
        let (all, years) = match self.calendar.get(&(day.month(), day.day())) {
            Some(known) => *known,
            None => {
                let summed = self.over_the_years(day);
                self.calendar.insert((day.month(), day.day()), summed);
                summed
            }
        };
        let own = self.around(day);
        let years = years - usize::from(own.days > 0);
        let days = all.days - own.days;
        if years < FEWEST_YEARS || days == 0 {
            return None;
        }
        ordered(
            (all.min - own.min) / f64::from(days),
            (all.max - own.max) / f64::from(days),
        )
    }

    fn over_the_years(&self, day: NaiveDate) -> (Sums, usize) {
        let (mut all, mut years) = (Sums::default(), 0);
        for year in self.years.clone() {
            // 29 February stands with the 28th in other years.
            let middle = day
                .with_year(year)
                .or_else(|| (day - Days::new(1)).with_year(year));
            let Some(middle) = middle else { continue };
            let sums = self.around(middle);
            all.min += sums.min;
            all.max += sums.max;
            all.days += sums.days;
            years += usize::from(sums.days > 0);
        }
        (all, years)
    }

    /// The sums over the days around one.
    fn around(&self, middle: NaiveDate) -> Sums {
        let place = (middle - self.first).num_days();
        let within = |place: i64| place.clamp(0, self.running.len() as i64 - 1) as usize;
        let before = self.running[within(place - CLIMATE_DAYS)];
        let after = self.running[within(place + CLIMATE_DAYS + 1)];
        Sums {
            min: after.min - before.min,
            max: after.max - before.max,
            days: after.days - before.days,
        }
    }
}
