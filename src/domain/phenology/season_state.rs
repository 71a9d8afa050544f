//! Milestones: where a site stands with a species, what it has passed, what comes next.
//!
//! Sums are never kept: they are made anew from the stored days each time, so a corrected or late
//! day needs no path of its own.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{Basis, Ensemble, NoOutlook, Outlook};
use crate::domain::phenology::past_season::{Borrowed, PastSeason};
use crate::domain::phenology::season::Season;
use crate::domain::phenology::season_days::{Day, Gap, Limits, Series, season_days};
use crate::domain::phenology::species::{SECOND_INSTAR, Species, Threshold};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::degree_day::Model;
use crate::domain::weather::foretold_days::{ForetoldDays, StationForecast};
use crate::domain::weather::gaps::Estimates;
use chrono::NaiveDate;

/// What made a milestone count as passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PassedBy {
    /// The sum reached the threshold.
    Sum,
    /// The date cap came first.
    DateCap,
    /// The date cap came, and days are missing: what the sum reached is not known.
    DateCapUnknown,
}

/// Days by which the known days may end before the date cap and still say what the season did.
const DAYS_SHORT_OF_CAP: i64 = 14;

/// A milestone passed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Which one.
    pub milestone: Milestone,
    /// The day on which the sum reached the threshold, or the date cap.
    pub on: NaiveDate,
    /// What made it count.
    pub by: PassedBy,
    /// Degree-days at the end of that day, °C·d.
    pub degree_days: f64,
    /// Estimated days in the sum to that day.
    pub estimated_days: u32,
}

/// Why milestones are held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// No measured day in this season yet.
    NoData,
    /// A gap too long to bridge.
    Gap(Gap),
    /// More estimated days than allowed.
    TooManyEstimated {
        /// Estimated days in the sum.
        estimated: u32,
        /// The limit.
        limit: u32,
    },
}

/// When a milestone that has not been passed may be expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// Which milestone.
    pub milestone: Milestone,
    /// Its dates and what they are made of, or why there are none.
    pub outlook: Result<(Outlook, Basis), NoOutlook>,
}

/// What is known of a station.
#[derive(Debug, Clone, Copy)]
pub struct Record<'r> {
    /// Its readings.
    pub readings: &'r DailyReadings,
    /// Which of them are estimates.
    pub estimates: &'r Estimates,
    /// Its whole past seasons.
    pub past: &'r [PastSeason],
    /// Whether some of them are not its own.
    pub borrowed: Option<Borrowed>,
    /// Its forecast, from a model; only days that follow the readings without a hole count.
    pub forecast: Option<&'r StationForecast>,
}

/// Where a site stands with a species.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonState {
    /// The season looked at.
    pub season: Season,
    /// The newest measured day of the season.
    pub data_through: Option<NaiveDate>,
    /// Degree-days of the gap-free run of days, °C·d.
    pub degree_days: f64,
    /// Estimated days in that sum.
    pub estimated_days: u32,
    /// Milestones passed, in order.
    pub crossings: Vec<Crossing>,
    /// The day on which the sum reached the second instar: from then on larvae can be counted.
    pub second_instar: Option<NaiveDate>,
    /// Why further milestones are held back, if they are.
    pub hold: Option<Hold>,
    /// Milestones that have not been passed, in order.
    pub ahead: Vec<Expectation>,
}

impl SeasonState {
    /// The day on which a milestone was passed.
    pub fn passed(&self, milestone: Milestone) -> Option<NaiveDate> {
        let of = |crossing: &&Crossing| crossing.milestone == milestone;
        self.crossings.iter().find(of).map(|crossing| crossing.on)
    }

    /// What comes next.
    pub fn next(&self) -> Option<Expectation> {
        self.ahead.first().copied()
    }
}

/// A season's days so far at a station, and the courses it may take.
#[derive(Debug, Clone)]
pub struct SeasonSoFar {
    /// The season.
    pub season: Season,
    /// Its days.
    pub series: Series,
    /// The forecast days that follow them, from a model.
    pub forecast: ForetoldDays,
    /// Its days, the forecast, and each past season as a remainder; or why there are no courses.
    pub ensemble: Result<Ensemble, NoOutlook>,
}

impl SeasonSoFar {
    /// Of what is known of a station on `today`, with sums by a model.
    pub fn of(
        model: &Model,
        season: Season,
        record: Record<'_>,
        today: NaiveDate,
        limits: Limits,
    ) -> Self {
        let series = season_days(
            record.readings,
            &season,
            today,
            limits.longest_gap_days,
            record.estimates,
        );
        let forecast = following(&series, record.forecast);
        let ensemble = Ensemble::of_series(model, &series, &forecast, record.past)
            .map(|ensemble| ensemble.borrowing(record.borrowed));
        Self {
            season,
            series,
            forecast,
            ensemble,
        }
    }
}

/// Works out where a site stands with a species on `today`.
///
/// # Method
/// Daily degree-days by the species' own model are summed from the season's start over the
/// gap-free run of days (see [`season_days`]). A milestone is passed on the first day at whose end
/// the sum is at or above its threshold. The window also ends on the species' date cap if the sum
/// has not got there. Milestones whose sum holds more estimated days than allowed are held back.
///
/// # Units
/// °C and °C·d; `latitude` in degrees.
///
/// # Valid range
/// Any readings; days after `today` are ignored.
pub fn season_state(
    species: &Species,
    latitude: f64,
    record: Record<'_>,
    today: NaiveDate,
    limits: Limits,
) -> SeasonState {
    let season = species.season_on(today, latitude);
    let so_far = SeasonSoFar::of(&species.model, season, record, today, limits);
    season_state_of(species, latitude, &so_far, today, limits)
}

/// The same from the days and the courses of a season, which species of one model and start share.
pub fn season_state_of(
    species: &Species,
    latitude: f64,
    so_far: &SeasonSoFar,
    today: NaiveDate,
    limits: Limits,
) -> SeasonState {
    let SeasonSoFar {
        season,
        series,
        ensemble,
        ..
    } = so_far;
    let season = *season;
    let daily = daily_sums(species, &series.days);
    let end = daily.last();
    let degree_days = end.map_or(0.0, |day| day.sum);
    let estimated_days = end.map_or(0, |day| day.estimated);
    let cap = species.window_cap(&season, latitude);

    let mut crossings = crossings_by_sum(species, &daily, limits.most_estimated_days);
    crossings.retain(|crossing| crossing.on <= cap);
    if today >= cap
        && crossings
            .last()
            .is_none_or(|c| c.milestone != Milestone::WindowEnd)
    {
        let at_cap = daily.iter().rev().find(|day| day.date <= cap);
        let known = at_cap.is_some_and(|day| {
            (cap - day.date).num_days() <= DAYS_SHORT_OF_CAP
                && day.estimated <= limits.most_estimated_days
        });
        let by = if known {
            PassedBy::DateCap
        } else {
            PassedBy::DateCapUnknown
        };
        crossings.push(Crossing {
            milestone: Milestone::WindowEnd,
            on: cap,
            by,
            degree_days: at_cap.map_or(0.0, |day| day.sum),
            estimated_days: at_cap.map_or(0, |day| day.estimated),
        });
    }

    let second_instar = species.stage(SECOND_INSTAR).and_then(|stage| {
        let reached = daily.iter().find(|day| day.sum >= stage.value)?;
        Some(reached.date)
    });
    let hold = if series.data_through.is_none() {
        Some(Hold::NoData)
    } else if let Some(gap) = series.broken_by {
        Some(Hold::Gap(gap))
    } else if estimated_days > limits.most_estimated_days {
        Some(Hold::TooManyEstimated {
            estimated: estimated_days,
            limit: limits.most_estimated_days,
        })
    } else {
        None
    };
    let ahead = ahead(species, &crossings, ensemble, today, cap);
    SeasonState {
        season,
        data_through: series.data_through,
        degree_days,
        estimated_days,
        crossings,
        second_instar,
        hold,
        ahead,
    }
}

struct DailySum {
    date: NaiveDate,
    sum: f64,
    estimated: u32,
}

fn daily_sums(species: &Species, days: &[Day]) -> Vec<DailySum> {
    let mut sum = 0.0;
    let mut estimated = 0;
    let gains = species.model.daily(days.iter().map(|day| day.extremes));
    days.iter()
        .zip(gains)
        .map(|(day, gain)| {
            sum += gain;
            estimated += u32::from(day.estimated);
            DailySum {
                date: day.date,
                sum,
                estimated,
            }
        })
        .collect()
}

fn crossings_by_sum(species: &Species, daily: &[DailySum], most_estimated: u32) -> Vec<Crossing> {
    Milestone::ALL
        .into_iter()
        .filter_map(|milestone| {
            let threshold = species.threshold(milestone).value;
            let day = daily.iter().find(|day| day.sum >= threshold)?;
            (day.estimated <= most_estimated).then_some(Crossing {
                milestone,
                on: day.date,
                by: PassedBy::Sum,
                degree_days: day.sum,
                estimated_days: day.estimated,
            })
        })
        .collect()
}

/// The first milestone not passed; none once the window has ended.
fn next_milestone(crossings: &[Crossing]) -> Option<Milestone> {
    match crossings.last() {
        None => Some(Milestone::AdultFlight),
        Some(last) => last.milestone.next(),
    }
}

/// The outlook of every milestone not passed.
fn ahead(
    species: &Species,
    crossings: &[Crossing],
    ensemble: &Result<Ensemble, NoOutlook>,
    today: NaiveDate,
    cap: NaiveDate,
) -> Vec<Expectation> {
    let Some(next) = next_milestone(crossings) else {
        return Vec::new();
    };
    let milestones = Milestone::ALL.into_iter().filter(|one| *one >= next);
    let ensemble = match ensemble {
        Ok(ensemble) => ensemble,
        Err(why) => {
            let without = |milestone| Expectation {
                milestone,
                outlook: Err(*why),
            };
            return milestones.map(without).collect();
        }
    };
    let thresholds: Vec<&Threshold> = milestones
        .clone()
        .map(|one| species.threshold(one))
        .collect();
    let passed_at = crossings.last().map(|crossing| crossing.degree_days);
    let outlooks = ensemble.outlooks(&thresholds, passed_at, today, cap);
    milestones
        .zip(outlooks)
        .map(|(milestone, outlook)| {
            let outlook = if milestone == Milestone::WindowEnd {
                outlook.ending_on(cap, today)
            } else {
                outlook
            };
            Expectation {
                milestone,
                outlook: Ok((outlook, ensemble.basis())),
            }
        })
        .collect()
}

/// The forecast days that follow a series without a hole.
fn following(series: &Series, forecast: Option<&StationForecast>) -> ForetoldDays {
    match (series.days.last(), forecast) {
        (Some(last), Some(forecast)) => {
            ForetoldDays::following((last.date, last.extremes), forecast)
        }
        _ => ForetoldDays::default(),
    }
}
