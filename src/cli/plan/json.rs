//! The plan for scripts.

use crate::cycle::{Case, Followed, SiteState};
use crate::domain::treatment::coverage::Share;
use crate::domain::treatment::need::Need;
use crate::domain::treatment::plan::Planned;
use crate::domain::treatment::watering::WateringState;
use crate::notify::wording::need_words;
use chrono::NaiveDate;
use serde::Serialize;

/// A site's plan.
#[derive(Serialize)]
pub(super) struct PlanDocument<'p> {
    pub site: &'p str,
    pub day: NaiveDate,
    pub species: Vec<SpeciesPlan<'p>>,
    pub watering: Vec<Water<'p>>,
    /// What the weather says against spreading today.
    pub weather: Option<String>,
    pub cautions: [&'static str; 2],
}

/// The plan against one species.
#[derive(Serialize)]
pub(super) struct SpeciesPlan<'p> {
    species: &'p str,
    season: i32,
    /// `preventive`, `curative`, `count-more` or `nothing`.
    treat: &'static str,
    why: String,
    /// Larvae per m² that the turf bears, low and high end.
    borne_per_m2: (f64, f64),
    /// Why there are no dates.
    no_dates: Option<String>,
    options: Vec<OfOption<'p>>,
}

/// The days of one option.
#[derive(Serialize)]
struct OfOption<'p> {
    option: &'p str,
    group: &'p str,
    /// What it would be spread for here.
    purpose: &'static str,
    restricted: bool,
    first: NaiveDate,
    best: NaiveDate,
    last: NaiveDate,
    /// Share of the hatching larvae met by an application of today, of the best day, and of the best
    /// day left.
    meets_today: Option<MetShare>,
    meets_at_best: f64,
    meets_at_best_left: f64,
    /// When half of an application of today is in the root zone.
    in_root_zone: NaiveDate,
    too_late: bool,
}

#[derive(Serialize)]
struct MetShare {
    mean: f64,
    low: f64,
    high: f64,
}

/// How an application stands with its water.
#[derive(Serialize)]
pub(super) struct Water<'p> {
    number: i64,
    option: &'p str,
    spread: NaiveDate,
    deadline: NaiveDate,
    needed_mm: f64,
    rain_mm: f64,
    irrigation_mm: f64,
    /// `due`, `done`, `waiting` or `missed`.
    state: &'static str,
}

impl<'p> SpeciesPlan<'p> {
    pub(super) fn of(
        here: &'p SiteState<'_>,
        case: &Case,
        planned: Result<&'p [Planned<'_>], String>,
        today: NaiveDate,
    ) -> Self {
        let no_dates = planned.as_ref().err().cloned();
        Self {
            species: &here.species.id,
            season: here.state.season.year,
            treat: match case.need {
                Need::Preventive(_) => "preventive",
                Need::Curative { .. } => "curative",
                Need::CountMore { .. } => "count-more",
                Need::Nothing(_) => "nothing",
            },
            why: need_words(&case.need),
            borne_per_m2: case.tolerance,
            no_dates,
            options: planned
                .unwrap_or_default()
                .iter()
                .map(|one| OfOption::of(one, today))
                .collect(),
        }
    }
}

impl<'p> OfOption<'p> {
    fn of(one: &'p Planned<'_>, today: NaiveDate) -> Self {
        let round = |share: f64| (share * 1000.0).round() / 1000.0;
        Self {
            option: &one.option.id,
            group: &one.option.group,
            purpose: one.purpose.name(),
            restricted: one.option.restricted,
            first: one.window.first,
            best: one.window.best,
            last: one.window.last,
            meets_today: one
                .coverage
                .on(today)
                .map(|Share { mean, low, high }| MetShare {
                    mean: round(mean),
                    low: round(low),
                    high: round(high),
                }),
            meets_at_best: round(one.met_on(one.window.best)),
            meets_at_best_left: round(one.still(today)),
            in_root_zone: one.arrives(today),
            too_late: !one.in_time(today),
        }
    }
}

impl<'p> Water<'p> {
    pub(super) fn of(followed: &Followed<'p>) -> Self {
        let watering = &followed.watering;
        Self {
            number: followed.number,
            option: &followed.option.id,
            spread: watering.spread,
            deadline: watering.deadline,
            needed_mm: watering.needed_mm,
            rain_mm: watering.rain_mm,
            irrigation_mm: watering.irrigation_mm,
            state: match watering.state {
                WateringState::Due => "due",
                WateringState::Done(_) => "done",
                WateringState::Waiting => "waiting",
                WateringState::Missed => "missed",
            },
        }
    }
}
