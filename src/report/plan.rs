//! Whether to treat at a site, which option still works, and by when it must be down.

use super::{BRIEF_CAUTIONS, DateRange};
use crate::config::Config;
use crate::cycle::{Case, Followed, SiteState, plans, waterings, wet_here};
use crate::domain::place::site::{Member, Site};
use crate::domain::treatment::need::{Ground, Need, together};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::plan::{Planned, ranked};
use crate::domain::treatment::watering::WateringState;
use crate::notify::wording::{
    how_words, limits, need_words, spread_words, water_in_words, wet_words,
};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use serde::Serialize;
use std::collections::BTreeMap;

mod option;

pub use option::{MetShare, OptionPlan};

/// What the marks and figures of a plan mean, a line each.
pub const HOW_TO_READ: [&str; 3] = [
    "* restricted or forbidden in many places. Shares are of the hatching larvae met while they are",
    "open to it, by a planning model; how many die depends on the product, the turf and the",
    "water. Most figures are common practice or estimates, with their sources in config/options.",
];

/// What dates are worth at a site whose milestones are held back.
pub const HELD_BACK: &str = "Milestones are held back here, see hatchbell status: the dates below rest on too many missing days to go by.";

/// A site's plan. What is not for scripts is left out of JSON.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SitePlan {
    /// The site's id.
    pub site: String,
    /// The site's name.
    #[serde(skip)]
    pub site_name: String,
    /// The name of the member whose site it is.
    #[serde(skip)]
    pub member: String,
    /// The day that is planned for.
    pub day: NaiveDate,
    /// The plan against each species.
    pub species: Vec<SpeciesPlan>,
    /// What was spread this season, and entries that do not count.
    #[serde(skip)]
    pub spread: Vec<String>,
    /// What the counts of several species come to together, if that is more than the turf bears.
    #[serde(skip)]
    pub together: Option<String>,
    /// The options that the site would use and that have no day worth it.
    #[serde(skip)]
    pub without_a_day: Vec<String>,
    /// The options that the site would not use.
    #[serde(skip)]
    pub not_considered: Option<String>,
    /// How the applications of the last weeks stand with their water.
    pub watering: Vec<WateringStatus>,
    /// What the weather says against spreading today.
    pub weather: Option<String>,
    /// Watering in, reliability, cautions and law of the options that are in time.
    #[serde(skip)]
    pub what_to_mind: Vec<String>,
    /// The usual cautions.
    pub cautions: [&'static str; 2],
}

/// The plan against one species.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeciesPlan {
    /// The species' id.
    pub species: String,
    /// The species' name.
    #[serde(skip)]
    pub name: String,
    /// The year the season starts in.
    pub season: i32,
    /// The season, in words.
    #[serde(skip)]
    pub season_name: String,
    /// `preventive`, `curative`, `count-more` or `nothing`.
    pub treat: &'static str,
    /// Why.
    pub why: String,
    /// Whether to treat at all, why, and how much the turf bears.
    #[serde(skip)]
    pub decision: String,
    /// Whether nothing calls for a treatment, so that the days are for information only.
    #[serde(skip)]
    pub is_for_information: bool,
    /// Whether milestones are held back, see [`HELD_BACK`].
    #[serde(skip)]
    pub is_held: bool,
    /// Larvae per m² that the turf bears, low and high end.
    #[serde(rename = "borne_per_m2")]
    pub tolerance_per_m2: (f64, f64),
    /// Why there are no dates.
    pub no_dates: Option<String>,
    /// The options, best first.
    pub options: Vec<OptionPlan>,
}

/// How an application stands with its water.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WateringStatus {
    /// Its number in the journal.
    pub number: i64,
    /// What was spread, by the option's id.
    pub option: String,
    /// The day of spreading.
    pub spread: NaiveDate,
    /// The day by which it must be watered in.
    pub deadline: NaiveDate,
    /// Water that it needs, mm.
    pub needed_mm: f64,
    /// Rain since then, mm.
    pub rain_mm: f64,
    /// Irrigation logged since then, mm.
    pub irrigation_mm: f64,
    /// `due`, `done`, `waiting` or `missed`.
    pub state: &'static str,
    /// All of it in words.
    #[serde(skip)]
    pub in_words: String,
}

/// A species of the site with its decision, and the options ranked or why there are none.
type RankedSpecies<'p> = (
    &'p SiteState<'p>,
    &'p Case,
    Result<Vec<Planned<'p>>, String>,
);

impl SitePlan {
    /// The plan of a site for `today`.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        (member, site): (&Member, &Site),
        today: NaiveDate,
    ) -> Result<Self, StoreError> {
        let weather = wet_here(store, site, today)?.map(wet_words);
        let followed = waterings(config, store, site, today)?;
        let plans = plans(config, store, today, &site.id)?;
        let options = || config.options.values();
        let species: Vec<RankedSpecies<'_>> = plans
            .iter()
            .map(|(here, case, hatching)| {
                let planned = match hatching {
                    Ok(hatching) => {
                        Ok(ranked(options(), &site.choice, &case.need, hatching, today))
                    }
                    Err(why) => Err(why.to_string()),
                };
                (here, case, planned)
            })
            .collect();
        Ok(Self {
            site: site.id.clone(),
            site_name: site.name.clone(),
            member: member.name.clone(),
            day: today,
            spread: species
                .first()
                .map_or_else(Vec::new, |first| spread(config, first, today)),
            together: counts_together(&species),
            without_a_day: species
                .iter()
                .filter_map(|one| without_a_day(options(), one))
                .collect(),
            not_considered: not_considered(options(), site),
            watering: followed.iter().map(WateringStatus::of).collect(),
            weather,
            what_to_mind: what_to_mind(&species, today),
            cautions: BRIEF_CAUTIONS,
            species: species
                .into_iter()
                .map(|(here, case, planned)| SpeciesPlan::of(here, case, planned, today))
                .collect(),
        })
    }

    /// How applications stand with their water, and what the weather says, a paragraph each.
    pub fn water_and_weather(&self) -> Vec<String> {
        let water = self.watering.iter().map(|one| one.in_words.clone());
        let weather = self.weather.iter().map(|words| format!("Weather: {words}"));
        water.chain(weather).collect()
    }
}

impl SpeciesPlan {
    fn of(
        here: &SiteState<'_>,
        case: &Case,
        planned: Result<Vec<Planned<'_>>, String>,
        today: NaiveDate,
    ) -> Self {
        let (planned, no_dates) = match planned {
            Ok(planned) => (planned, None),
            Err(why) => (Vec::new(), Some(why)),
        };
        let why = need_words(&case.need);
        Self {
            species: here.species.id.clone(),
            name: here.species.name.clone(),
            season: here.state.season.year,
            season_name: here.state.season.to_string(),
            treat: treat(&case.need),
            decision: format!(
                "{}{why} {}",
                justified(&case.need),
                limits(&here.species, here.site.condition)
            ),
            why,
            is_for_information: case.need.purpose().is_none(),
            is_held: here.state.hold.is_some(),
            tolerance_per_m2: case.tolerance,
            no_dates,
            options: planned
                .iter()
                .map(|one| OptionPlan::of(one, &case.need, today))
                .collect(),
        }
    }

    /// Why no option is shown; `None` if there are some.
    pub fn why_no_options(&self) -> Option<String> {
        match &self.no_dates {
            Some(why) => Some(format!("No dates can be given: {why}.")),
            None if self.options.is_empty() => {
                Some("Nothing that this site would use meets this species.".to_owned())
            }
            None => None,
        }
    }

    /// The days of the options that still work, to be drawn.
    pub fn ranges(&self) -> Vec<DateRange> {
        let ranges = self.options.iter().map(|one| one.range.clone());
        ranges.flatten().collect()
    }
}

fn treat(need: &Need) -> &'static str {
    match need {
        Need::Preventive(_) => "preventive",
        Need::Curative { .. } => "curative",
        Need::CountMore { .. } => "count-more",
        Need::Nothing(_) => "nothing",
    }
}

/// Whether to treat at all comes before with what.
fn justified(need: &Need) -> &'static str {
    match need {
        Need::Preventive(Ground::LastYear) => "A preventive is justified. ",
        Need::Curative { .. } => "A curative may be justified. ",
        _ => "",
    }
}

/// What was spread this season, and entries whose option is not there any more.
fn spread(config: &Config, (here, case, _): &RankedSpecies<'_>, today: NaiveDate) -> Vec<String> {
    let spread = case.spread(config, here, today);
    let unknown = case.unknown(config).map(|(number, option)| {
        format!(
            "Number {number} of the journal names the option \"{option}\", which is not there any more; it does not count."
        )
    });
    std::iter::once(spread_words(&spread, here.site.area))
        .chain(unknown)
        .filter(|words| !words.is_empty())
        .collect()
}

/// What the counts of several species come to together, if that is more than the turf bears.
fn counts_together(species: &[RankedSpecies<'_>]) -> Option<String> {
    let counted: Vec<(f64, f64)> = species
        .iter()
        .filter_map(|(_, case, _)| {
            let (_, found) = case.evidence.this_brood.as_ref()?;
            Some((found.mean_per_m2(), case.tolerance.1))
        })
        .collect();
    let share = together(&counted).filter(|share| *share > 1.0)?;
    Some(format!(
        "Together the species counted come to {:.0} % of what the turf bears, though none does alone: decide as if one were above.",
        share * 100.0
    ))
}

/// The options that the site would use and that have no day worth it against a species.
fn without_a_day<'o>(
    options: impl Iterator<Item = &'o TreatmentOption>,
    (here, _, planned): &RankedSpecies<'_>,
) -> Option<String> {
    let planned = planned.as_ref().ok()?;
    let names: Vec<&str> = options
        .filter(|option| here.site.choice.considers(option))
        .filter(|option| planned.iter().all(|one| one.option.id != option.id))
        .map(|option| option.name.as_str())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "Without a day on which they would meet larvae of {} this season: {}.",
            here.species.name,
            names.join(", ")
        )
    })
}

/// The options that the site would not use.
fn not_considered<'o>(
    options: impl Iterator<Item = &'o TreatmentOption>,
    site: &Site,
) -> Option<String> {
    let names: Vec<&str> = options
        .filter(|option| !site.choice.considers(option))
        .map(|option| option.name.as_str())
        .collect();
    (!names.is_empty())
        .then(|| format!("Not among what this site would use: {}.", names.join(", ")))
}

/// Watering in, reliability, cautions and law of the options that are in time, by their ids.
fn what_to_mind(species: &[RankedSpecies<'_>], today: NaiveDate) -> Vec<String> {
    let planned = species
        .iter()
        .filter_map(|(.., planned)| planned.as_ref().ok())
        .flatten();
    let in_time: BTreeMap<&str, &TreatmentOption> = planned
        .filter(|one| one.in_time(today))
        .map(|one| (one.option.id.as_str(), one.option))
        .collect();
    in_time
        .into_values()
        .map(|option| format!("{}: {}", option.name, how_words(option)))
        .collect()
}

impl WateringStatus {
    fn of(followed: &Followed<'_>) -> Self {
        let watering = &followed.watering;
        Self {
            number: followed.number,
            option: followed.option.id.clone(),
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
            in_words: water_in_words(followed.option, watering, None),
        }
    }
}
