//! What is still to come of a season: the days that past seasons had, moved by what persists.

use crate::domain::phenology::past_season::PastSeason;
use crate::domain::phenology::trend::{believed_trend, mean_of};
use crate::domain::weather::extremes::Extremes;
use std::f64::consts::TAU;
use std::ops::Range;

/// Share of this season's difference to a past one that goes on into the days to come. From 0.2 to
/// 0.4 the error is nearly the same on the stations it was chosen on.
pub const SEASON_SHARE: f64 = 0.30;

/// Day of the season, from 0, from which that difference is taken: mid-March in the north. Winter
/// says little about spring.
pub const SPRING_DAY: usize = 75;

/// Fewest days over which it is taken, early in the season.
pub const FEWEST_SEASON_DAYS: usize = 30;

/// Share of the last days' difference that goes on, at first.
pub const RECENT_SHARE: f64 = 0.40;

/// The last days over which that difference is taken.
pub const RECENT_DAYS: usize = 3;

/// Days in which what goes on of it falls to 1/e.
pub const RECENT_FADE_DAYS: f64 = 3.0;

/// Harmonics of the year in the seasonal cycle.
pub const HARMONICS: usize = 3;

/// What a day's anomaly keeps of that of the day before.
pub const DAY_TO_DAY: f64 = 0.75;

/// How far the past seasons are moved towards the expected days: halfway, because the two estimates
/// err differently.
pub const TOWARDS_EXPECTED: f64 = 0.5;

/// Which past seasons an outlook is read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Remainder {
    /// Moved by what persists: what people see.
    Persistent,
    /// As they were: the yardstick.
    Plain,
}

/// The days known of a season.
#[derive(Debug, Clone, Copy)]
pub(super) struct KnownDays<'d> {
    /// The year it starts in.
    pub year: i32,
    /// Its days, observed and then foretold.
    pub days: &'d [Extremes],
    /// How many of them are observed.
    pub observed: usize,
}

/// The days after the known ones, once as each past season has them.
///
/// # Method
/// Two estimates of the same days, each with what goes on of this season. The first is each past season,
/// raised by the station's trend ([`believed_trend`]) and moved by three tenths of how much warmer this
/// season has been since early spring than that one had been by then, and by four tenths of the same over the last three days,
/// which fades within about a week. The second is one course: the seasonal cycle of the past seasons'
/// mean (three harmonics of the year), with three tenths of this season's anomaly since early spring and
/// the last day's anomaly, of which each day keeps three quarters. All past seasons are then moved
/// alike, day by day, so that their mean lies halfway between the two.
///
/// # Units
/// °C.
///
/// # Valid range
/// Past seasons longer than the known days. Where a move leaves what is possible the day stays as it was.
///
/// # References
/// First-order autocorrelation of daily temperature anomalies, seasonal cycles by harmonics: Wilks,
/// Statistical Methods in the Atmospheric Sciences (from memory). The shares are ours; DEVELOPERS.md has
/// the scores and the command that makes them.
pub(super) fn remaining_days(
    remainder: Remainder,
    known: KnownDays<'_>,
    past: &[&PastSeason],
) -> Vec<Vec<Extremes>> {
    let after = known.days.len();
    if remainder == Remainder::Plain {
        return past
            .iter()
            .map(|season| season.days[after..].to_vec())
            .collect();
    }
    let trend = believed_trend(past);
    let raises: Vec<f64> = past
        .iter()
        .map(|season| trend * f64::from(known.year - season.year))
        .collect();
    let spring = known.spring();
    let recent = known.observed.saturating_sub(RECENT_DAYS)..known.observed;
    let mut shifts: Vec<Vec<f64>> = past
        .iter()
        .zip(&raises)
        .map(|(season, raise)| {
            let warmer = |span: &Range<usize>| {
                mean_of(&known.days[span.clone()]) - mean_of(&season.days[span.clone()]) - raise
            };
            let by_season = raise + SEASON_SHARE * warmer(&spring);
            let by_recent = RECENT_SHARE * warmer(&recent);
            (after..season.days.len())
                .map(|place| {
                    let ahead = (place + 1 - known.observed) as f64;
                    by_season + by_recent * (-ahead / RECENT_FADE_DAYS).exp()
                })
                .collect()
        })
        .collect();
    let expected = expected_means(known, past, &raises);
    for place in after..expected.len() {
        let here = || {
            past.iter()
                .zip(&shifts)
                .filter(move |(season, _)| place < season.days.len())
        };
        let count = here().count() as f64;
        let mean = here()
            .map(|(season, shifts)| mean(season.days[place]) + shifts[place - after])
            .sum::<f64>()
            / count;
        let towards = TOWARDS_EXPECTED * (expected[place] - mean);
        for shift in &mut shifts {
            if let Some(shift) = shift.get_mut(place - after) {
                *shift += towards;
            }
        }
    }
    past.iter()
        .zip(&shifts)
        .map(|(season, shifts)| {
            let days = season.days[after..].iter().zip(shifts);
            days.map(|(day, shift)| moved(*day, *shift)).collect()
        })
        .collect()
}

impl KnownDays<'_> {
    /// The days over which this season is compared as a whole.
    fn spring(&self) -> Range<usize> {
        SPRING_DAY.min(self.observed.saturating_sub(FEWEST_SEASON_DAYS))..self.observed
    }
}

/// Mean temperatures that the cycle of the year and this season's anomalies lead one to expect, by day of
/// the season; those up to the last observed day are the cycle's.
fn expected_means(known: KnownDays<'_>, past: &[&PastSeason], raises: &[f64]) -> Vec<f64> {
    let mut expected = seasonal_cycle(past, raises);
    let anomaly = |place: usize| mean(known.days[place]) - expected[place];
    let spring = known.spring();
    let days = spring.len().max(1) as f64;
    let lasting = SEASON_SHARE * spring.map(anomaly).sum::<f64>() / days;
    let fading = anomaly(known.observed - 1) - lasting;
    let mut keeps = 1.0;
    for value in expected.iter_mut().skip(known.observed) {
        keeps *= DAY_TO_DAY;
        *value += lasting + fading * keeps;
    }
    expected
}

/// The seasonal cycle of past seasons: the mean of each day, smoothed to harmonics of the year.
fn seasonal_cycle(past: &[&PastSeason], raises: &[f64]) -> Vec<f64> {
    let longest = past
        .iter()
        .map(|season| season.days.len())
        .max()
        .unwrap_or(0);
    let mut means: Vec<f64> = (0..longest)
        .map(|place| {
            let days = past.iter().zip(raises);
            let (sum, count) = days.fold((0.0, 0.0), |(sum, count), (season, raise)| match season
                .days
                .get(place)
            {
                Some(day) => (sum + mean(*day) + raise, count + 1.0),
                None => (sum, count),
            });
            sum / count
        })
        .collect();
    // A year whose end no season has runs on in a straight line to where it begins.
    const YEAR: usize = 365;
    if let (Some(first), Some(last)) = (means.first().copied(), means.last().copied()) {
        let short = YEAR.saturating_sub(means.len());
        means
            .extend((1..=short).map(|day| last + (first - last) * day as f64 / (short + 1) as f64));
    }
    let n = means.len() as f64;
    let turn = |place: usize, harmonic: usize| TAU * (harmonic * place) as f64 / n;
    let mean = means.iter().sum::<f64>() / n;
    let waves: Vec<(f64, f64)> = (1..=HARMONICS)
        .map(|harmonic| {
            let sum = |wave: fn(f64) -> f64| {
                let of = means.iter().enumerate();
                of.map(|(place, mean)| mean * wave(turn(place, harmonic)))
                    .sum::<f64>()
                    * 2.0
                    / n
            };
            (sum(f64::cos), sum(f64::sin))
        })
        .collect();
    (0..longest)
        .map(|place| {
            let waves = waves.iter().zip(1..);
            mean + waves
                .map(|((cosine, sine), harmonic)| {
                    let turn = turn(place, harmonic);
                    cosine * turn.cos() + sine * turn.sin()
                })
                .sum::<f64>()
        })
        .collect()
}

fn mean(day: Extremes) -> f64 {
    f64::midpoint(day.min(), day.max())
}

/// A day moved by a difference of temperature; left as it is where that leaves what is possible.
fn moved(day: Extremes, shift: f64) -> Extremes {
    Extremes::new(day.min() + shift, day.max() + shift).unwrap_or(day)
}
