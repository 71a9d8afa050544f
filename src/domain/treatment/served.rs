//! The days of an option against one species: what the model, the soil and practice leave.

use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::phenology::species::Species;
use crate::domain::treatment::coverage::{Coverage, Window};
use crate::domain::treatment::hatching::{FIRST_HATCH_SHARE, Hatching};
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::rating::FAIR;
use chrono::{Days, NaiveDate};

/// Seven-day mean of the soil at 10 cm below which turf sleeps and nothing is spread, °C. Roots of
/// cool-season turf do best from 10 °C on (North Carolina turf council 2005); that this is where
/// spring begins for grubs and turf is an estimate.
pub const SLEEPING_BELOW_C: f64 = 10.0;

/// Days before first hatch before which nothing is spread against its larvae, where practice names no
/// lead of its own for an option: the longest that it names for any, twelve weeks.
pub const LONGEST_LEAD_DAYS: u64 = 84;

/// A species that something is spread against.
#[derive(Debug, Clone, Copy)]
pub struct Target<'o> {
    /// The species.
    pub species: &'o Species,
    /// When its larvae hatch.
    pub hatching: &'o Hatching,
}

/// An option's days against one species alone.
#[derive(Debug, Clone)]
pub struct Served<'o> {
    /// The species.
    pub target: Target<'o>,
    /// What each day would meet.
    pub coverage: Coverage<'o>,
    /// The days worth it.
    pub window: Window,
    /// What its best day would meet, mean, 0 to 1.
    best: f64,
    /// The first and last day that the soil, and how early the day would be, allow.
    allowed: (NaiveDate, NaiveDate),
    /// The last day that practice advises, if it ends the days worth it.
    pub practice_ends: Option<NaiveDate>,
}

/// An option's days against one species; `None` if there are none.
pub(super) fn served<'o>(
    option: &'o TreatmentOption,
    purpose: Purpose,
    target: Target<'o>,
    soil: Option<&SoilCourse>,
) -> Option<Served<'o>> {
    let hatching = target.hatching;
    let coverage = hatching.coverage(option);
    let window = coverage.window_for(purpose)?;
    let warm_enough = soil_bounds(option, purpose, target.species, soil)?;
    let (earliest, practice_ends) = lead(option, purpose, hatching);
    let allowed = (warm_enough.0.max(earliest), warm_enough.1);
    let first = window.first.max(allowed.0);
    let by_soil = window.last.min(allowed.1);
    // Practice goes before the model, but not so far that no day is left.
    let practice_ends = practice_ends.filter(|end| (first..by_soil).contains(end));
    let last = practice_ends.unwrap_or(by_soil);
    if first > last {
        return None;
    }
    let best = window.best.clamp(first, last);
    Some(Served {
        target,
        best: coverage.mean_on(best).filter(|best| *best > 0.0)?,
        coverage,
        window: Window { first, best, last },
        allowed,
        practice_ends,
    })
}

/// The first and last day that are warm enough; `None` if none is.
fn soil_bounds(
    option: &TreatmentOption,
    purpose: Purpose,
    species: &Species,
    soil: Option<&SoilCourse>,
) -> Option<(NaiveDate, NaiveDate)> {
    let Some(soil) = soil else {
        return Some((NaiveDate::MIN, NaiveDate::MAX));
    };
    let needed = option.soil.as_ref().map(|limits| limits.lowest_c.value);
    let lowest = needed.map_or(SLEEPING_BELOW_C, |lowest| lowest.max(SLEEPING_BELOW_C));
    // What is spread on larvae that were counted must meet them before they go down.
    let gone_down = species.leaves_surface_c.as_ref().map(|limit| limit.value);
    let met_to = match (purpose, gone_down) {
        (Purpose::Curative, Some(limit)) => lowest.max(limit),
        _ => lowest,
    };
    Some((soil.warms_to(lowest)?, soil.cools_below(met_to)?))
}

/// The earliest day by how long before first hatch it is, and the last that practice advises.
fn lead(
    option: &TreatmentOption,
    purpose: Purpose,
    hatching: &Hatching,
) -> (NaiveDate, Option<NaiveDate>) {
    let first_hatch = hatching.hatched_by(FIRST_HATCH_SHARE);
    let Some(hatch) = first_hatch.filter(|_| purpose == Purpose::Preventive) else {
        return (NaiveDate::MIN, None);
    };
    let before = |days: f64| hatch - Days::new(days.round() as u64);
    match &option.practice_lead_days {
        Some(lead) => {
            let (latest, earliest) = lead.range.unwrap_or((lead.value, lead.value));
            (before(earliest), Some(before(latest)))
        }
        None => (hatch - Days::new(LONGEST_LEAD_DAYS), None),
    }
}

impl Served<'_> {
    pub(super) fn holds(&self, day: NaiveDate) -> bool {
        (self.window.first..=self.window.last).contains(&day)
    }

    pub(super) fn mean_on(&self, day: NaiveDate) -> f64 {
        self.coverage.mean_on(day).unwrap_or(0.0)
    }

    /// What a day meets as a share of what its best day does; nothing on a day that is too cold or too
    /// early.
    pub(super) fn share_of_best(&self, day: NaiveDate) -> f64 {
        let (first, last) = self.allowed;
        if (first..=last).contains(&day) {
            self.mean_on(day) / self.best
        } else {
            0.0
        }
    }

    /// The last day that meets at least half of what the best one does; where practice ends the days
    /// worth it, none after half of the larvae have hatched.
    pub(super) fn fair_until(&self) -> NaiveDate {
        let fair = self.coverage.window_at(FAIR, Some(self.window.best));
        let fair = fair.map_or(self.window.last, |window| window.last);
        let half_hatched = self
            .practice_ends
            .and_then(|_| self.target.hatching.hatched_by(0.5));
        let end = half_hatched.map_or(fair, |hatched| hatched.min(fair));
        end.min(self.allowed.1).max(self.window.last)
    }
}
