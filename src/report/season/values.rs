//! A season for scripts, as it is described to them.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

/// A season of a site: the values behind the sentences.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonValues {
    /// The site's id.
    pub site: String,
    /// The year the season starts in.
    pub season: i32,
    /// Its first day.
    pub first_day: NaiveDate,
    /// Its last day.
    pub last_day: NaiveDate,
    /// The last day looked at.
    pub through: NaiveDate,
    /// Whether it is over.
    pub is_over: bool,
    /// Whether shares of the hatch still rest on the outlook in part.
    pub partly_outlook: bool,
    /// Each species.
    pub species: Vec<SeasonOfSpecies>,
    /// Always: notices are held against the temperature sum, not against what was seen.
    pub scores_weather_only: bool,
    /// The score of each milestone's first notice.
    pub first_notices: Option<SeasonScore>,
    /// The score of all notices.
    pub all_notices: Option<SeasonScore>,
    /// What was applied, oldest first.
    pub applications: Vec<SeasonApplication>,
    /// Irrigation logged, mm.
    pub irrigation_mm: f64,
    /// Damage by grubs that was noted, or that there was none.
    pub damage: Vec<SeasonDamage>,
    /// What was told, oldest first.
    pub told: Vec<SeasonTold>,
    /// The cautions.
    pub cautions: [&'static str; 5],
}

/// Damage by grubs, or that there was none.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonDamage {
    /// The day.
    pub day: NaiveDate,
    /// Whether there was any.
    pub damage: bool,
}

/// Something that was told.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonTold {
    /// The day.
    pub day: NaiveDate,
    /// `foretold`, `passed`, `treatment`, `count`, `overtaken` or `water`.
    pub kind: &'static str,
    /// In words.
    pub what: String,
}

/// A species in a season.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonOfSpecies {
    /// The species' id.
    pub species: String,
    /// Newest measured day of the season.
    pub data_through: Option<NaiveDate>,
    /// The day from which it was watched.
    pub watched_from: Option<NaiveDate>,
    /// Whether milestones were held back.
    pub held_back: bool,
    /// Each milestone in order.
    pub milestones: Vec<SeasonMilestone>,
    /// When larvae hatched.
    pub hatch: Option<SeasonHatch>,
    /// Why that is not known.
    pub hatch_unknown: Option<String>,
    /// Whether it is worked out from observed days alone.
    pub hatch_observed: bool,
    /// First catches and sightings.
    pub catches: Vec<NaiveDate>,
    /// Larvae per m² that the turf tolerates, low and high end.
    pub tolerated_per_m2: (f64, f64),
    /// What was counted.
    pub counts: Vec<SeasonCount>,
    /// The change from the brood before to this one.
    pub change: Option<SeasonChange>,
}

/// When larvae hatched.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonHatch {
    /// One in twenty had.
    pub one_in_twenty: NaiveDate,
    /// Half had.
    pub half: NaiveDate,
    /// Nineteen in twenty had.
    pub nineteen_in_twenty: Option<NaiveDate>,
}

/// Two counts beside each other.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonChange {
    /// The number of the earlier one.
    pub before: i64,
    /// The number of the later one.
    pub after: i64,
    /// The later mean by the earlier.
    pub ratio: Option<f64>,
    /// Whether their ranges lie apart.
    pub ranges_apart: Option<bool>,
}

/// A milestone of a season.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonMilestone {
    /// Its name.
    pub milestone: &'static str,
    /// Each notice that foretold it.
    pub foretold: Vec<SeasonNotice>,
    /// The day it came.
    pub came: Option<NaiveDate>,
    /// Whether by the temperature sum, not by a date.
    pub by_sum: Option<bool>,
    /// The day on which it was told that it had come.
    pub told_on: Option<NaiveDate>,
    /// The day that was told.
    pub told_for: Option<NaiveDate>,
    /// The day it was corrected to.
    pub corrected_to: Option<NaiveDate>,
    /// Whether it was withdrawn.
    pub withdrawn: bool,
}

/// A notice, held against the day that came if it did.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonNotice {
    /// The day of telling.
    pub told_on: NaiveDate,
    /// Days ahead at which it was due.
    pub lead_days: u32,
    /// The likely day it told.
    pub likely: NaiveDate,
    /// The first day of its range.
    pub early: Option<NaiveDate>,
    /// The last day of its range.
    pub late: Option<NaiveDate>,
    /// Days from telling to the day that came.
    pub warning_days: Option<i64>,
    /// Days by which the day that came was later than the likely one.
    pub late_by_days: Option<i64>,
    /// Whether the range held it.
    pub held: Option<bool>,
    /// Days outside the range, negative before it.
    pub days_outside: Option<i64>,
}

/// How far off notices were.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonScore {
    /// Notices.
    pub notices: usize,
    /// Mean of the days off, whichever way.
    pub mean_error_days: f64,
    /// Mean of the days by which the day came later.
    pub mean_late_days: f64,
    /// Notices with a range.
    pub ranges: usize,
    /// Those of them that held it.
    pub held: usize,
    /// The shortest warning.
    pub shortest_warning_days: i64,
    /// The longest warning.
    pub longest_warning_days: i64,
}

/// A count.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonCount {
    /// Its number in the journal.
    pub number: i64,
    /// The day.
    pub day: NaiveDate,
    /// Of which brood its larvae are.
    pub brood: &'static str,
    /// Mean, larvae per m².
    pub per_m2: f64,
    /// Low end of its range.
    pub per_m2_low: Option<f64>,
    /// High end of its range.
    pub per_m2_high: Option<f64>,
    /// What it is against what the turf tolerates.
    pub against_turf: &'static str,
}

/// An application.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonApplication {
    /// Its number in the journal.
    pub number: i64,
    /// The day.
    pub day: NaiveDate,
    /// The option's id.
    pub option: String,
    /// The area, m².
    pub area_m2: f64,
    /// The same as a share of the site.
    pub share_of_site: Option<f64>,
    /// The rate as it was entered.
    pub rate: Option<String>,
    /// How it stood with its water.
    pub watering: Option<SeasonWatering>,
    /// The first day on which it works.
    pub active_from: Option<NaiveDate>,
    /// The last day.
    pub active_to: Option<NaiveDate>,
    /// Whether a count called for it.
    pub counted_before: bool,
    /// What it met of each species.
    pub met: Vec<SeasonMet>,
}

/// How an application stood with its water.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonWatering {
    /// `due`, `done`, `late`, `waiting` or `missed`.
    pub state: &'static str,
    /// The day on which it had enough.
    pub done_on: Option<NaiveDate>,
    /// The last day for it.
    pub deadline: NaiveDate,
    /// Depth that it needs, mm.
    pub needed_mm: f64,
    /// Rain, mm.
    pub rain_mm: f64,
    /// The last day whose rain is known.
    pub rain_through: Option<NaiveDate>,
    /// Irrigation, mm.
    pub irrigation_mm: f64,
}

/// What an application met of a species.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[serde(untagged)]
pub enum SeasonMet {
    /// It can be worked out.
    Known(SeasonShare),
    /// It cannot.
    Unknown(SeasonShareUnknown),
}

/// Why it is not known what an application met.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonShareUnknown {
    /// The species' id.
    pub species: String,
    /// In words.
    pub verdict: String,
    /// Why.
    pub unknown: String,
}

/// The share of the hatch that an application met.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SeasonShare {
    /// The species' id.
    pub species: String,
    /// In words.
    pub verdict: String,
    /// Whether it was in time.
    pub timing: &'static str,
    /// The day from which it counts.
    pub counted_from: NaiveDate,
    /// The share.
    pub mean: f64,
    /// Low end of its range.
    pub low: f64,
    /// High end of its range.
    pub high: f64,
    /// The share of the best day.
    pub best: f64,
    /// The first day worth it.
    pub first_day: NaiveDate,
    /// The best day.
    pub best_day: NaiveDate,
    /// The last day worth it.
    pub last_day: NaiveDate,
    /// Days from the best one.
    pub days_from_best: i64,
    /// The day on which half of it was in the root zone.
    pub half_in_root_zone: NaiveDate,
    /// The share that had hatched by then.
    pub hatched_by_then: f64,
    /// The share that had grown into the third instar by then.
    pub third_instar_by_then: f64,
}
