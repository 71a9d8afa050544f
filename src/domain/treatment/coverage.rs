//! How much of the hatch an application meets, for every day it may be made on.
//!
//! A planning model: it compares days and options. It says nothing of how many larvae die in a
//! particular lawn; the label, local law and a licensed applicator decide what is done.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::NoOutlook;
use crate::domain::phenology::season_days::{Limits, season_days};
use crate::domain::phenology::season_state::{Record, ensemble};
use crate::domain::phenology::species::{SECOND_INSTAR, Species};
use crate::domain::sourced_value::{NINE_NORMAL, SourcedValue};
use crate::domain::treatment::need::COUNTABLE_AFTER_HATCH;
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use chrono::{Days, NaiveDate};

/// Chance a day that a fully open larva takes up enough where all of an option is at work. A
/// choice, not a published value: larvae that feed for some days are met.
pub const UPTAKE_PER_DAY: f64 = 0.3;

/// The share of all eggs that have hatched when the first hatch is noticed. A choice: first hatch
/// stands for the first twentieth.
pub const FIRST_HATCH_SHARE: f64 = 0.05;

/// Standard normal quantile at [`FIRST_HATCH_SHARE`], without its sign.
const NORMAL_95: f64 = 1.644854;

/// An application counts as worth it on days that meet at least this share of what the best day
/// meets.
pub const WORTH_IT: f64 = 0.9;

/// Days after the date cap up to which larvae feed on and a curative may still meet them. A choice:
/// they go down as the soil cools, about three weeks after what is spread against small ones is
/// over.
pub const FEEDING_ON_DAYS: usize = 21;

/// Activity below this is taken for none.
const NO_ACTIVITY: f32 = 0.005;

/// Longest activity looked at, days.
const LONGEST_DAYS: usize = 366;

/// Why there is no coverage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoCoverage {
    /// The species' file lacks a stage the model needs.
    #[error("the species' file has no stage \"{0}\", which planning needs")]
    NoStage(&'static str),
    /// The courses the season may take cannot be told.
    #[error("{0}")]
    NoOutlook(#[from] NoOutlook),
    /// In most of the courses the season may take nothing hatches.
    #[error("hatch is not to be expected this season")]
    NoHatch,
}

/// A hatching season: when larvae hatch and grow, in each course the season may take.
#[derive(Debug, Clone)]
pub struct Hatching {
    start: NaiveDate,
    /// Days from the start to the date cap.
    days: usize,
    /// For each course and point of the threshold's range, its broods.
    courses: Vec<Vec<Cohort>>,
}

/// Larvae that hatch together.
#[derive(Debug, Clone)]
struct Cohort {
    /// Day of hatch, from the season's start.
    hatch: usize,
    /// Development in instars, from the day of hatch on; see
    /// [`crate::domain::treatment::option::Susceptibility::at`].
    instars: Vec<f32>,
}

/// Share of the hatching larvae that an application on a day meets, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Mean over all courses.
    pub mean: f64,
    /// One course in ten is below.
    pub low: f64,
    /// One course in ten is above.
    pub high: f64,
}

/// What each day of application would meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    start: NaiveDate,
    shares: Vec<Share>,
}

/// The days on which an application is worth it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First day.
    pub first: NaiveDate,
    /// Best day.
    pub best: NaiveDate,
    /// Last day.
    pub last: NaiveDate,
}

impl Hatching {
    /// The broods of a species where it stands on `today` at `latitude` (degrees), over all courses
    /// its season may take.
    ///
    /// # Errors
    /// [`NoCoverage`].
    pub fn of_record(
        species: &Species,
        latitude: f64,
        record: Record<'_>,
        today: NaiveDate,
        limits: Limits,
    ) -> Result<Self, NoCoverage> {
        let season = species.season_on(today, latitude);
        let series = season_days(
            record.readings,
            &season,
            today,
            limits.longest_gap_days,
            record.estimates,
        );
        let courses = ensemble(species, &series, record)?.courses();
        let cap = species.window_cap(&season, latitude);
        Self::new(species, &courses, season.start, cap)
    }

    /// The broods of a species in a season whose days are known up to the date cap: one course, for
    /// which no past season is needed. `None` if days are missing.
    pub fn as_observed(
        species: &Species,
        latitude: f64,
        record: Record<'_>,
        today: NaiveDate,
        limits: Limits,
    ) -> Option<Result<Self, NoCoverage>> {
        let season = species.season_on(today, latitude);
        let cap = species.window_cap(&season, latitude);
        let series = season_days(
            record.readings,
            &season,
            today,
            limits.longest_gap_days,
            record.estimates,
        );
        let last = series.days.last()?.date;
        if series.broken_by.is_some() || last.succ_opt()? < cap {
            return None;
        }
        let mut sum = 0.0;
        let course: Vec<f64> = species
            .model
            .daily(series.days.iter().map(|day| day.extremes))
            .map(|gain| {
                sum += gain;
                sum
            })
            .collect();
        Some(Self::new(species, &[course], season.start, cap))
    }

    /// The broods of a species over `courses`, sums at the end of each day from `start` on (see
    /// [`crate::domain::phenology::outlook::Ensemble::courses`]); larvae are followed up to `cap`, for
    /// curatives [`FEEDING_ON_DAYS`] longer.
    ///
    /// # Method
    /// Hatch is spread normally over degree-days: the species' peak hatch is its mean, and first
    /// hatch stands for the share [`FIRST_HATCH_SHARE`]. Nine equally likely broods stand for it,
    /// for each course and each of nine points of the peak's own range. A brood enters the second
    /// instar after the degree-days between peak hatch and second instar, the third after those
    /// between second and third.
    ///
    /// # Units
    /// °C·d and days.
    ///
    /// # Valid range
    /// Sums that rise. Broods that do not hatch before `cap` are left out.
    ///
    /// # References
    /// Stages: the species' file, mostly estimates. The normal spread and the nine points are ours.
    ///
    /// # Errors
    /// [`NoCoverage`].
    pub fn new(
        species: &Species,
        courses: &[Vec<f64>],
        start: NaiveDate,
        cap: NaiveDate,
    ) -> Result<Self, NoCoverage> {
        let first = species.threshold(Milestone::Hatch).value;
        let peak = stage(species, "peak-hatch")?;
        let second = stage(species, SECOND_INSTAR)?.value;
        let third = species.threshold(Milestone::WindowEnd).value;
        let spread = (peak.value - first) / NORMAL_95;
        let lengths = (second - peak.value, third - second);
        let days = usize::try_from((cap - start).num_days()).unwrap_or(0);
        let mut broods_of_all = Vec::new();
        let mut looked_at = 0;
        for course in courses {
            let known = &course[..course.len().min(days + FEEDING_ON_DAYS)];
            for peak in peak.points() {
                looked_at += 1;
                let broods: Vec<Cohort> = NINE_NORMAL
                    .iter()
                    .filter_map(|z| brood(known, days, peak + z * spread, lengths))
                    .collect();
                if !broods.is_empty() {
                    broods_of_all.push(broods);
                }
            }
        }
        if broods_of_all.len() * 2 <= looked_at {
            return Err(NoCoverage::NoHatch);
        }
        Ok(Self {
            start,
            days,
            courses: broods_of_all,
        })
    }

    /// The first day of the season and the day before the date cap.
    pub fn span(&self) -> (NaiveDate, NaiveDate) {
        let last = self.start + Days::new(self.days.saturating_sub(1) as u64);
        (self.start, last)
    }

    /// What an application of an option on each day meets.
    ///
    /// # Method
    /// On day `t` after watering in the share `F(t) · R(t)` is at work: `F` is the log-normal
    /// arrival in the root zone, `R` first-order decay. A larva takes up enough on a day with the
    /// chance `p · F · R · s`, where `s` is how open it is at its instar and `p` is
    /// [`UPTAKE_PER_DAY`]; over its life it is met with `1 − Π (1 − p F R s)`, here in the form
    /// `1 − exp(−Σ p F R s)`.
    ///
    /// # Units
    /// Shares, 0 to 1.
    ///
    /// # Valid range
    /// Days between the season's start and its date cap. Watering in is taken to happen on the
    /// day of application.
    ///
    /// # References
    /// First-order decay and log-normal transit times are common in soil science (from memory);
    /// the combination is ours and a planning model.
    pub fn coverage(&self, option: &TreatmentOption) -> Coverage {
        let activity = activity(option);
        let of_each: Vec<Vec<f64>> = self
            .courses
            .iter()
            .map(|broods| self.met(broods, option, &activity))
            .collect();
        let shares = (0..self.days_for(option.purpose))
            .map(|day| {
                let mut of_day: Vec<f64> = of_each.iter().map(|course| course[day]).collect();
                of_day.sort_by(f64::total_cmp);
                let n = of_day.len();
                let at = |p: f64| of_day[(((n as f64) * p) as usize).min(n - 1)];
                Share {
                    mean: of_day.iter().sum::<f64>() / n as f64,
                    low: at(0.1),
                    high: at(0.9),
                }
            })
            .collect();
        Coverage {
            start: self.start,
            shares,
        }
    }

    /// Days from the season's start on which larvae are followed: up to the date cap for what is
    /// spread against small ones, [`FEEDING_ON_DAYS`] longer for curatives.
    fn days_for(&self, purpose: Purpose) -> usize {
        match purpose {
            Purpose::Preventive => self.days,
            Purpose::Curative => self.days + FEEDING_ON_DAYS,
        }
    }

    /// Share of the broods of one course that an application on each day meets.
    fn met(&self, broods: &[Cohort], option: &TreatmentOption, activity: &[f32]) -> Vec<f64> {
        let days = self.days_for(option.purpose);
        let mut met = vec![0.0; days];
        for brood in broods {
            let open: Vec<f32> = brood
                .instars
                .iter()
                .take(days - brood.hatch)
                .map(|instars| option.susceptibility.at(f64::from(*instars)) as f32)
                .collect();
            let end = brood.hatch + open.len();
            for (day, met) in met.iter_mut().enumerate().take(end) {
                // The overlap of the larva's life with the time the option is at work.
                let from = day.max(brood.hatch);
                let to = end.min(day + activity.len());
                if from >= to {
                    continue;
                }
                let taken_up = sum_of_products(
                    &activity[from - day..to - day],
                    &open[from - brood.hatch..to - brood.hatch],
                );
                if taken_up > 0.0 {
                    *met += f64::from(1.0 - (-UPTAKE_PER_DAY as f32 * taken_up).exp());
                }
            }
        }
        for met in &mut met {
            *met /= broods.len() as f64;
        }
        met
    }

    /// Share of the larvae that hatch in all that have entered an instar (0 is hatch, 1 the
    /// second, 2 the third) by the end of a day, mean over the courses.
    pub fn reached(&self, instar: f64, day: NaiveDate) -> f64 {
        let Ok(day) = usize::try_from((day - self.start).num_days()) else {
            return 0.0;
        };
        let broods = || self.courses.iter().flatten();
        let reached = broods()
            .filter(|brood| {
                day.checked_sub(brood.hatch).is_some_and(|age| {
                    let last = brood.instars.len() - 1;
                    f64::from(brood.instars[age.min(last)]) >= instar
                })
            })
            .count();
        reached as f64 / broods().count() as f64
    }
}

impl Hatching {
    /// The day from which larvae can be counted: half of them are in the second instar, or first
    /// hatch is four weeks old; `None` if that is not to be expected.
    pub fn countable(&self) -> Option<NaiveDate> {
        let days: Vec<NaiveDate> = self.start.iter_days().take(self.days).collect();
        let first_with = |instar, share| {
            let index = days.partition_point(|day| self.reached(instar, *day) < share);
            days.get(index).copied()
        };
        let grown = first_with(0.0, FIRST_HATCH_SHARE)
            .map(|hatch| hatch + Days::new(COUNTABLE_AFTER_HATCH));
        first_with(1.0, 0.5).into_iter().chain(grown).min()
    }
}

impl Coverage {
    /// What an application on a day meets; `None` outside the season.
    pub fn on(&self, day: NaiveDate) -> Option<Share> {
        let index = usize::try_from((day - self.start).num_days()).ok()?;
        self.shares.get(index).copied()
    }

    /// Every day with its share.
    pub fn days(&self) -> impl Iterator<Item = (NaiveDate, Share)> {
        self.start.iter_days().zip(self.shares.iter().copied())
    }

    /// The best day, and the first and last day around it that meet at least [`WORTH_IT`] of what
    /// the best one does; `None` if no day meets anything.
    pub fn window(&self) -> Option<Window> {
        self.window_at(WORTH_IT, None)
    }

    /// The same with another share of what the best day meets, 0 to 1, and of the days from a day
    /// on only, if one is given.
    pub fn window_at(&self, share: f64, from: Option<NaiveDate>) -> Option<Window> {
        let earliest = from.map_or(0, |day| (day - self.start).num_days().max(0)) as usize;
        let best = (earliest..self.shares.len())
            .max_by(|a, b| self.shares[*a].mean.total_cmp(&self.shares[*b].mean))?;
        let enough = self.shares[best].mean * share;
        if enough <= 0.0 {
            return None;
        }
        let worth = |index: &usize| self.shares[*index].mean >= enough;
        let first = (earliest..=best).rev().take_while(worth).last()?;
        let last = (best..self.shares.len()).take_while(worth).last()?;
        let date = |index: usize| self.start + Days::new(index as u64);
        Some(Window {
            first: date(first),
            best: date(best),
            last: date(last),
        })
    }
}

fn stage<'s>(species: &'s Species, id: &'static str) -> Result<&'s SourcedValue, NoCoverage> {
    species.stage(id).ok_or(NoCoverage::NoStage(id))
}

/// A brood that hatches at a sum; `None` if the course does not reach it within `days`.
fn brood(
    course: &[f64],
    days: usize,
    hatch_sum: f64,
    (first, second): (f64, f64),
) -> Option<Cohort> {
    let hatch = course.partition_point(|sum| *sum < hatch_sum);
    if hatch >= course.len().min(days) {
        return None;
    }
    let instars = course[hatch..]
        .iter()
        .map(|sum| {
            let grown = sum - hatch_sum;
            let instars = if grown < first {
                grown / first.max(1.0)
            } else {
                1.0 + (grown - first) / second.max(1.0)
            };
            instars as f32
        })
        .collect();
    Some(Cohort { hatch, instars })
}

/// What is at work on each day from the application on, up to where nothing is left.
fn activity(option: &TreatmentOption) -> Vec<f32> {
    let days: Vec<f32> = (0..LONGEST_DAYS)
        .map(|day| option.at_work_after(day as f64) as f32)
        .collect();
    let end = days
        .iter()
        .rposition(|at_work| *at_work >= NO_ACTIVITY)
        .map_or(0, |last| last + 1);
    days[..end].to_vec()
}

/// Lanes that are summed side by side, so that a processor can do them at once.
const LANES: usize = 8;

/// The sum of the products of two rows of one length. This is where the time of planning goes.
fn sum_of_products(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; LANES];
    let (a, b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest: f32 = a
        .remainder()
        .iter()
        .zip(b.remainder())
        .map(|(a, b)| a * b)
        .sum();
    for (a, b) in a.zip(b) {
        for lane in 0..LANES {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    lanes.iter().sum::<f32>() + rest
}
