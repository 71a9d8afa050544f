//! What is still to come of a season: the days that past seasons had, moved by what persists.

use crate::domain::phenology::past_season::PastSeason;
use crate::domain::phenology::trend::{believed_trend, mean_of};
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::foretold_days::ForetoldDay;
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
    /// Its observed days.
    pub observed: &'d [Extremes],
    /// The days that a forecast says follow them.
    pub foretold: &'d [ForetoldDay],
}

/// The days after the observed ones, once as each past season has them.
///
/// # Method
/// Two estimates of the same days, each with what goes on of this season. The first is each past season,
/// raised by the station's trend ([`believed_trend`]) and moved by three tenths of how much warmer this
/// season has been since early spring than that one had been by then, and by four tenths of the same over the last three days,
/// which fades within about a week. The second is one course: the seasonal cycle of the past seasons'
/// mean (three harmonics of the year), with three tenths of this season's anomaly since early spring and
/// the last day's anomaly, of which each day keeps three quarters. All past seasons are then moved
/// alike, day by day, so that their mean lies halfway between the two. What a forecast says comes in last,
/// see [`drawn_to_forecast`].
///
/// # Units
/// °C.
///
/// # Valid range
/// Past seasons longer than the observed and foretold days. Where a move leaves what is possible the day stays as it was.
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
    let mut rest = match remainder {
        Remainder::Persistent => moved_by_what_persists(known, past),
        Remainder::Plain => past
            .iter()
            .map(|season| season.days[known.observed.len()..].to_vec())
            .collect(),
    };
    drawn_to_forecast(&mut rest, known.foretold);
    rest
}

/// Draws the days after the observed ones towards what a forecast says of the first of them.
///
/// # Method
/// For each foretold day, with `m` the mean of the past seasons' days and `s²` the variance of their daily
/// means, the forecast `f`, its bias taken off, has the share `w = s² / (s² + e²)` ([`ForetoldDay::share`]). Each
/// season's day `x` becomes `w f + (1 − w) m + √(1 − w) (x − m)`, minimum and maximum apart: the mean and the
/// variance that two independent estimates have together. Of the last foretold day's change of the mean,
/// `w (f − m)`, each day after it keeps three quarters of the day before.
///
/// # Units
/// °C.
///
/// # Valid range
/// Seasons that reach beyond the foretold days. A minimum that would exceed its maximum meets it halfway.
///
/// # References
/// Two normal estimates as one: any textbook of statistics. That an anomaly fades by [`DAY_TO_DAY`]: as for
/// the expected days.
fn drawn_to_forecast(rest: &mut [Vec<Extremes>], foretold: &[ForetoldDay]) {
    if foretold.is_empty() {
        return;
    }
    let mut change = 0.0;
    for (place, foretold) in foretold.iter().enumerate() {
        let n = rest.len() as f64;
        let mean_by =
            |of: fn(Extremes) -> f64| rest.iter().map(|days| of(days[place])).sum::<f64>() / n;
        let (min, max) = (mean_by(Extremes::min), mean_by(Extremes::max));
        let mean = f64::midpoint(min, max);
        let squares = rest.iter().map(|days| (days[place].mean() - mean).powi(2));
        let share = foretold.share(squares.sum::<f64>() / (n - 1.0).max(1.0));
        change = share * (foretold.extremes.mean() - mean);
        for days in rest.iter_mut() {
            let drawn = |forecast: f64, mean: f64, own: f64| {
                share * forecast + (1.0 - share) * mean + (1.0 - share).sqrt() * (own - mean)
            };
            let day = &mut days[place];
            let low = drawn(foretold.extremes.min(), min, day.min());
            let high = drawn(foretold.extremes.max(), max, day.max());
            let middle = f64::midpoint(low, high);
            *day = Extremes::new(low.min(middle), high.max(middle)).unwrap_or(*day);
        }
    }
    for days in rest {
        let mut goes_on = change;
        for day in days.iter_mut().skip(foretold.len()) {
            goes_on *= DAY_TO_DAY;
            *day = day.moved(goes_on);
        }
    }
}

/// The days after the observed ones as each past season has them, moved by what persists.
fn moved_by_what_persists(known: KnownDays<'_>, past: &[&PastSeason]) -> Vec<Vec<Extremes>> {
    let observed = known.observed.len();
    let trend = believed_trend(past);
    let raises: Vec<f64> = past
        .iter()
        .map(|season| trend * f64::from(known.year - season.year))
        .collect();
    let spring = known.spring();
    let recent = observed.saturating_sub(RECENT_DAYS)..observed;
    let mut shifts: Vec<Vec<f64>> = past
        .iter()
        .zip(&raises)
        .map(|(season, raise)| {
            let warmer = |span: &Range<usize>| {
                mean_of(&known.observed[span.clone()]) - mean_of(&season.days[span.clone()]) - raise
            };
            let by_season = raise + SEASON_SHARE * warmer(&spring);
            let by_recent = RECENT_SHARE * warmer(&recent);
            (observed..season.days.len())
                .map(|place| {
                    let ahead = (place + 1 - observed) as f64;
                    by_season + by_recent * (-ahead / RECENT_FADE_DAYS).exp()
                })
                .collect()
        })
        .collect();
    let expected = expected_means(known, past, &raises);
    for place in observed..expected.len() {
        let here = || {
            past.iter()
                .zip(&shifts)
                .filter(move |(season, _)| place < season.days.len())
        };
        let count = here().count() as f64;
        let mean = here()
            .map(|(season, shifts)| season.days[place].mean() + shifts[place - observed])
            .sum::<f64>()
            / count;
        let towards = TOWARDS_EXPECTED * (expected[place] - mean);
        for shift in &mut shifts {
            if let Some(shift) = shift.get_mut(place - observed) {
                *shift += towards;
            }
        }
    }
    past.iter()
        .zip(&shifts)
        .map(|(season, shifts)| {
            let days = season.days[observed..].iter().zip(shifts);
            days.map(|(day, shift)| day.moved(*shift)).collect()
        })
        .collect()
}

impl KnownDays<'_> {
    /// The days over which this season is compared as a whole.
    fn spring(&self) -> Range<usize> {
        let observed = self.observed.len();
        SPRING_DAY.min(observed.saturating_sub(FEWEST_SEASON_DAYS))..observed
    }
}

/// Mean temperatures that the cycle of the year and this season's anomalies lead one to expect, by day of
/// the season; those up to the last observed day are the cycle's.
fn expected_means(known: KnownDays<'_>, past: &[&PastSeason], raises: &[f64]) -> Vec<f64> {
    let mut expected = seasonal_cycle(past, raises);
    let anomaly = |place: usize| known.observed[place].mean() - expected[place];
    let spring = known.spring();
    let days = spring.len().max(1) as f64;
    let lasting = SEASON_SHARE * spring.map(anomaly).sum::<f64>() / days;
    let fading = anomaly(known.observed.len() - 1) - lasting;
    let mut keeps = 1.0;
    for value in expected.iter_mut().skip(known.observed.len()) {
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
                Some(day) => (sum + day.mean() + raise, count + 1.0),
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
