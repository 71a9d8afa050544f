//! When the larvae of a season hatch and grow, in each course the season may take.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::NoOutlook;
use crate::domain::phenology::season_days::Limits;
use crate::domain::phenology::season_state::{Record, SeasonSoFar};
use crate::domain::phenology::species::{SECOND_INSTAR, Species};
use crate::domain::sourced_value::{NINE_NORMAL, SourcedValue};
use crate::domain::treatment::need::COUNTABLE_AFTER_HATCH;
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::worked_out::WorkedOut;
use chrono::{Days, NaiveDate};
use std::cell::RefCell;
use std::ops::Range;

/// The share of all eggs that have hatched when the first hatch is noticed. A choice: first hatch
/// stands for the first twentieth.
pub const FIRST_HATCH_SHARE: f64 = 0.05;

/// Standard normal quantile at [`FIRST_HATCH_SHARE`], without its sign.
const NORMAL_95: f64 = 1.644854;

/// Days after the date cap up to which larvae feed on and a curative may still meet them. A choice:
/// they go down as the soil cools, about three weeks after what is spread against small ones is
/// over.
pub const FEEDING_ON_DAYS: usize = 21;

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
    pub(super) start: NaiveDate,
    /// Days from the start to the date cap.
    days: usize,
    /// Sums at the end of each day, up to where larvae are followed, °C·d.
    pub(super) courses: Vec<Vec<f64>>,
    /// Degree-days from hatch to the second instar, and from there to the third.
    pub(super) lengths: (f64, f64),
    /// Larvae of one course that hatch on one day, and how many of all they stand for.
    pub(super) cohorts: Vec<Cohort>,
    /// For each course and point of the threshold's range, its larvae: nine equal parts, each by the
    /// place of its cohort; fewer where some do not hatch in time.
    pub(super) cases: Vec<Vec<u32>>,
    /// What was worked out of options already.
    pub(super) known: RefCell<WorkedOut>,
}

/// Larvae that hatch together.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cohort {
    /// Place of the course.
    pub course: usize,
    /// Day of hatch, from the season's start.
    pub hatch: usize,
    /// The sum at which they hatch, °C·d: the mean of the parts that were put together.
    pub hatch_sum: f64,
    /// Share of all larvae that hatch.
    pub share: f64,
    /// Parts of cases put together here.
    parts: f64,
}

impl Hatching {
    /// The larvae of a species where it stands on `today` at `latitude` (degrees), over all courses
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
        let so_far = SeasonSoFar::of(&species.model, season, record, today, limits);
        Self::of_season(species, latitude, &so_far)
    }

    /// The same from the courses of a season, which species of one model and start share.
    ///
    /// # Errors
    /// [`NoCoverage`].
    pub fn of_season(
        species: &Species,
        latitude: f64,
        so_far: &SeasonSoFar,
    ) -> Result<Self, NoCoverage> {
        let ensemble = so_far.ensemble.as_ref().map_err(|why| *why)?;
        let season = &so_far.season;
        let cap = species.window_cap(season, latitude);
        Self::new(species, &ensemble.courses(), season.start, cap)
    }

    /// The larvae of a species in a season whose days are known up to the date cap: one course, for
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
        let so_far = SeasonSoFar::of(&species.model, season, record, today, limits);
        let series = &so_far.series;
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

    /// The larvae of a species over `courses`, sums at the end of each day from `start` on (see
    /// [`crate::domain::phenology::outlook::Ensemble::courses`]); they are followed up to `cap`, for
    /// curatives [`FEEDING_ON_DAYS`] longer.
    ///
    /// # Method
    /// Hatch is spread normally over degree-days: the species' peak hatch is its mean, and first
    /// hatch stands for the share [`FIRST_HATCH_SHARE`]. Nine equal parts stand for it, for each
    /// course and each of nine points of the peak's own range. Parts of a course that hatch on one
    /// day are put together at the mean of their sums. Larvae enter the second instar after the
    /// degree-days between peak hatch and second instar, the third after those between second and
    /// third.
    ///
    /// # Units
    /// °C·d and days.
    ///
    /// # Valid range
    /// Sums that rise. Larvae that do not hatch before `cap` are left out.
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
        let days = usize::try_from((cap - start).num_days()).unwrap_or(0);
        let mut hatching = Self {
            start,
            days,
            courses: Vec::with_capacity(courses.len()),
            lengths: (second - peak.value, third - second),
            cohorts: Vec::new(),
            cases: Vec::new(),
            known: RefCell::default(),
        };
        let peaks = peak.points();
        let mut cases_of: Vec<Range<usize>> = Vec::new();
        for course in courses {
            let followed = course[..course.len().min(days + FEEDING_ON_DAYS)].to_vec();
            match hatching.alike(&followed) {
                Some(known) => hatching.cases.extend_from_within(cases_of[known].clone()),
                None => {
                    let before = hatching.cases.len();
                    hatching.add_course(followed, &peaks, spread);
                    cases_of.push(before..hatching.cases.len());
                }
            }
        }
        if hatching.cases.len() * 2 <= courses.len() * peaks.len() {
            return Err(NoCoverage::NoHatch);
        }
        hatching.share_out();
        Ok(hatching)
    }

    /// The place of a course that was added before and runs alike as far as larvae are followed:
    /// once their season is known, all do.
    fn alike(&self, course: &[f64]) -> Option<usize> {
        self.courses
            .iter()
            .position(|known| known.last() == course.last() && known == course)
    }

    /// Adds a course with a case for each point of the peak's range in which larvae hatch.
    fn add_course(&mut self, course: Vec<f64>, peaks: &[f64], spread: f64) {
        let place = self.courses.len();
        let latest = course.len().min(self.days);
        // The cohort of each day of this course.
        let mut cohorts: Vec<Option<u32>> = vec![None; latest];
        for peak in peaks {
            let mut case = Vec::new();
            for z in NINE_NORMAL {
                let hatch_sum = peak + z * spread;
                let hatch = course.partition_point(|sum| *sum < hatch_sum);
                if hatch >= latest {
                    continue;
                }
                let of_the_day = *cohorts[hatch].get_or_insert_with(|| {
                    self.cohorts.push(Cohort {
                        course: place,
                        hatch,
                        hatch_sum: 0.0,
                        share: 0.0,
                        parts: 0.0,
                    });
                    self.cohorts.len() as u32 - 1
                });
                let cohort = &mut self.cohorts[of_the_day as usize];
                cohort.parts += 1.0;
                cohort.hatch_sum += (hatch_sum - cohort.hatch_sum) / cohort.parts;
                case.push(of_the_day);
            }
            if !case.is_empty() {
                self.cases.push(case);
            }
        }
        self.courses.push(course);
    }

    /// Gives every cohort its share of all larvae: cases count alike, and so do the parts of a case.
    fn share_out(&mut self) {
        for cohort in &mut self.cohorts {
            cohort.parts = 0.0;
        }
        let of_each = 1.0 / self.cases.len() as f64;
        for case in &self.cases {
            for place in case {
                let cohort = &mut self.cohorts[*place as usize];
                cohort.share += of_each / case.len() as f64;
                cohort.parts += 1.0;
            }
        }
    }

    /// The first day of the season and the day before the date cap.
    pub fn span(&self) -> (NaiveDate, NaiveDate) {
        let last = self.start + Days::new(self.days.saturating_sub(1) as u64);
        (self.start, last)
    }

    /// Days from the season's start on which larvae are followed: up to the date cap for what is
    /// spread against small ones, [`FEEDING_ON_DAYS`] longer for curatives.
    pub(super) fn days_for(&self, purpose: Purpose) -> usize {
        match purpose {
            Purpose::Preventive => self.days,
            Purpose::Curative => self.days + FEEDING_ON_DAYS,
        }
    }

    /// Share of the larvae that hatch in all that have entered an instar (0 is hatch, 1 the
    /// second, 2 the third) by the end of a day, mean over the courses.
    pub fn reached(&self, instar: f64, day: NaiveDate) -> f64 {
        let Ok(day) = usize::try_from((day - self.start).num_days()) else {
            return 0.0;
        };
        let (first, second) = self.lengths;
        let needed = first.max(1.0) * instar.min(1.0) + second.max(1.0) * (instar - 1.0).max(0.0);
        let (mut reached, mut all) = (0.0, 0.0);
        for cohort in &self.cohorts {
            all += cohort.parts;
            let course = &self.courses[cohort.course];
            let grown = course[day.min(course.len() - 1)] - cohort.hatch_sum;
            if cohort.hatch <= day && grown >= needed {
                reached += cohort.parts;
            }
        }
        reached / all
    }

    /// The first day by whose end a share of the larvae, 0 to 1, has hatched; `None` if that is not
    /// to be expected before the date cap.
    pub fn hatched_by(&self, share: f64) -> Option<NaiveDate> {
        self.first_with(0.0, share)
    }

    /// The date cap of the season.
    pub fn cap(&self) -> NaiveDate {
        self.start + Days::new(self.days as u64)
    }

    /// The day from which larvae can be counted: half of them are in the second instar, or first
    /// hatch is four weeks old; `None` if that is not to be expected.
    pub fn countable(&self) -> Option<NaiveDate> {
        let grown = self
            .hatched_by(FIRST_HATCH_SHARE)
            .map(|hatch| hatch + Days::new(COUNTABLE_AFTER_HATCH));
        self.first_with(1.0, 0.5).into_iter().chain(grown).min()
    }

    fn first_with(&self, instar: f64, share: f64) -> Option<NaiveDate> {
        let key = (instar.to_bits(), share.to_bits());
        let known = self
            .known
            .borrow()
            .reached
            .iter()
            .find(|(of, _)| *of == key)
            .copied();
        if let Some((_, first)) = known {
            return first;
        }
        let first = self.search_first_with(instar, share);
        self.known.borrow_mut().reached.push((key, first));
        first
    }

    fn search_first_with(&self, instar: f64, share: f64) -> Option<NaiveDate> {
        let day = |place: usize| self.start + Days::new(place as u64);
        let (mut low, mut high) = (0, self.days);
        while low < high {
            let middle = low.midpoint(high);
            if self.reached(instar, day(middle)) < share {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        (low < self.days).then(|| day(low))
    }
}

fn stage<'s>(species: &'s Species, id: &'static str) -> Result<&'s SourcedValue, NoCoverage> {
    species.stage(id).ok_or(NoCoverage::NoStage(id))
}
