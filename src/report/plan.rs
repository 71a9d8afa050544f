//! Whether to treat at a site, which option still works, and by when it must be down.

use super::{BRIEF_CAUTIONS, DateRange};
use crate::config::Config;
use crate::cycle::{Followed, SiteCase, SpeciesCase, site_case, waterings};
use crate::domain::notation::Notation;
use crate::domain::phenology::season_state::Hold;
use crate::domain::place::site::{Member, Site};
use crate::domain::scouting::tolerance;
use crate::domain::treatment::need::{Ground, Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::served::SLEEPING_BELOW_C;
use crate::domain::treatment::site_plan::{PlanScope, SitePlan};
use crate::domain::treatment::watering::WateringState;
use crate::notify::wording::{
    how_to_dig, how_words, joined, need_words, samples_words, spread_words, water_in_words,
};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use serde::Serialize;

mod option;
mod tolerances;
mod weather;

pub use option::{MetShare, MissedSpecies, OptionPlan};
use tolerances::tolerances;
use weather::WeatherHere;
pub use weather::{NewestForecast, RainToUse};

/// What the marks and words of a plan mean.
const HOW_TO_READ: &str = "Good days meet nine tenths or more of what the option's best day meets, fair ones half or more, poor ones less, by a planning model: how many larvae die depends on the product, the turf and the water. Most figures are common practice or estimates, with their sources in config/options; soil temperatures are estimated from those of the air.";

/// What a star behind an option says.
const RESTRICTED: &str = "* restricted or forbidden in many places.";

/// What dates are worth at a site whose milestones are held back.
pub const HELD_BACK: &str = "Milestones are held back here, see hatchbell status: the dates below rest on too many missing days to go by.";

/// The plan of a site as it is shown. What is not for scripts is left out of JSON.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PlanReport {
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
    /// `preventive`, `curative`, `count-more` or `nothing`: one verdict for all species.
    pub treat: &'static str,
    /// Why.
    pub why: String,
    /// The species that call for it, by their ids.
    pub called_for_by: Vec<String>,
    /// Whether to treat at all and why.
    #[serde(skip)]
    pub decision: String,
    /// Whether nothing calls for a treatment, so that the days are for information only.
    #[serde(skip)]
    pub is_for_information: bool,
    /// What is known of each species.
    pub species: Vec<SpeciesPlan>,
    /// How many larvae the turf tolerates, a sentence for all species whose numbers are equal.
    #[serde(skip)]
    pub tolerances: Vec<String>,
    /// The options, best first: one window each for all the species that call for it.
    pub options: Vec<OptionPlan>,
    /// Why there are no dates or no options.
    pub no_options: Option<String>,
    /// What was spread this season, and entries that do not count.
    #[serde(skip)]
    pub spread: Vec<String>,
    /// The options that the site would use and that have no day worth it.
    #[serde(skip)]
    pub without_a_day: Option<String>,
    /// The options that the site would not use.
    #[serde(skip)]
    pub not_considered: Option<String>,
    /// The days for one digging for all species.
    #[serde(rename = "counting")]
    pub counting_days: Option<CountingDays>,
    /// How to count, where that is what comes next.
    #[serde(skip)]
    pub counting: Option<String>,
    /// The soil today.
    pub soil: Option<SoilToday>,
    /// How the applications of the last weeks stand with their water.
    pub watering: Vec<WateringStatus>,
    /// What the weather says of spreading, a sentence each.
    pub weather: Vec<String>,
    /// Rain for the best option that it will water in.
    pub rain_ahead: Option<RainToUse>,
    /// The newest forecast of the site's station.
    pub forecast: Option<NewestForecast>,
    /// Watering in, reliability, cautions and law of the options that are in time.
    #[serde(skip)]
    pub what_to_mind: Vec<String>,
    /// The usual cautions.
    pub cautions: [&'static str; 2],
}

/// The days on which larvae of this season can be counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct CountingDays {
    /// The first.
    pub from: NaiveDate,
    /// The last.
    pub until: NaiveDate,
}

impl CountingDays {
    fn of((from, until): (NaiveDate, NaiveDate)) -> Self {
        Self { from, until }
    }
}

/// The soil at 10 cm, estimated from air temperatures.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct SoilToday {
    /// Mean of the last seven days, °C.
    pub week_mean_c: f64,
    /// The day on which turf wakes: the mean reaches 10 °C.
    pub wakes: Option<NaiveDate>,
    /// Always: no soil is measured.
    pub is_estimate: bool,
}

/// What is known of one species at the site.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
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
    /// `preventive`, `curative`, `count-more` or `nothing`, for its sake alone and before what was
    /// spread.
    pub alone: &'static str,
    /// Why.
    pub alone_why: String,
    /// Whether milestones are held back, see [`HELD_BACK`].
    pub is_held: bool,
    /// Larvae per m² that the turf tolerates, low and high end.
    #[serde(rename = "tolerated_per_m2")]
    pub tolerance_per_m2: (f64, f64),
    /// Why there are no dates.
    pub no_dates: Option<String>,
}

/// How an application stands with its water.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
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

impl PlanReport {
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
        let case = site_case(config, store, today, &site.id)?;
        Self::of_case(config, store, (member, site), case.as_ref(), today)
    }

    /// The same of a site whose case is known already.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub(super) fn of_case(
        config: &Config,
        store: &Store,
        (member, site): (&Member, &Site),
        case: Option<&SiteCase<'_>>,
        today: NaiveDate,
    ) -> Result<Self, StoreError> {
        let notation = &config.service.notation;
        let followed = waterings(config, store, site, today)?;
        let plan = case.map(|case| case.plan(config, today, PlanScope::All));
        let weather = WeatherHere::of((config, store), site, plan.as_ref(), today)?;
        let need = plan
            .as_ref()
            .map_or(Need::Nothing(Reason::NoSpecies), |plan| plan.need.need);
        let counting_days = plan.as_ref().and_then(|plan| plan.counting);
        let cases = case.map_or(&[][..], |case| &case.species);
        let options: Vec<OptionPlan> = plan
            .iter()
            .flat_map(|plan| options(plan, &need, notation))
            .collect();
        Ok(Self {
            site: site.id.clone(),
            site_name: site.name.clone(),
            member: member.name.clone(),
            day: today,
            treat: treat(&need),
            decision: decision(&need, notation),
            why: need_words(&need, notation),
            called_for_by: plan.as_ref().map_or_else(Vec::new, |plan| {
                let calls = plan.need.calls.iter();
                calls
                    .map(|place| cases[*place].here.species.id.clone())
                    .collect()
            }),
            is_for_information: need.purpose().is_none(),
            species: cases
                .iter()
                .map(|case| SpeciesPlan::of(case, notation))
                .collect(),
            tolerances: tolerances(
                site,
                cases.iter().map(|case| case.here.species.as_ref()),
                notation,
            ),
            no_options: no_options(&options, cases),
            options,
            spread: case.map_or_else(Vec::new, |case| spread(config, case)),
            without_a_day: plan.as_ref().and_then(without_a_day),
            not_considered: not_considered(config.options.values(), site),
            counting_days: counting_days.map(CountingDays::of),
            counting: counting(&need, site, cases, counting_days, notation),
            soil: case.and_then(|case| SoilToday::of(case, today)),
            watering: followed
                .iter()
                .map(|one| WateringStatus::of(one, notation))
                .collect(),
            weather: weather.sentences,
            rain_ahead: weather.rain,
            forecast: weather.forecast,
            what_to_mind: plan
                .as_ref()
                .map_or_else(Vec::new, |plan| what_to_mind(plan, notation)),
            cautions: BRIEF_CAUTIONS,
        })
    }

    /// The site's species by their names.
    pub fn species_names(&self) -> String {
        joined(self.species.iter().map(|species| species.name.as_str()))
    }

    /// How applications stand with their water, and what the weather says, a paragraph each.
    pub fn water_and_weather(&self, notation: &Notation) -> Vec<String> {
        let water = self.watering.iter().map(|one| one.in_words.clone());
        let mut weather = self.weather.clone();
        if weather.is_empty() {
            let forecast = self.forecast;
            weather.extend(forecast.and_then(|forecast| forecast.in_words(self.day, notation)));
        }
        let weather = (!weather.is_empty()).then(|| format!("Weather: {}", weather.join(" ")));
        water.chain(weather).collect()
    }

    /// The days of the options that still work, to be drawn.
    pub fn ranges(&self) -> Vec<DateRange> {
        let ranges = self.options.iter().map(|one| one.range.clone());
        ranges.flatten().collect()
    }
}

fn options(plan: &SitePlan<'_>, need: &Need, notation: &Notation) -> Vec<OptionPlan> {
    plan.options
        .iter()
        .map(|one| OptionPlan::of(one, need, plan.day, notation))
        .collect()
}

/// Why no option is shown; `None` if there are some.
fn no_options(options: &[OptionPlan], cases: &[SpeciesCase<'_>]) -> Option<String> {
    if !options.is_empty() {
        return None;
    }
    let why = cases.iter().find_map(|case| match &case.hatching {
        Some(Err(why)) => Some(why.to_string()),
        _ => None,
    });
    Some(why.map_or_else(
        || "Nothing that this site would use has a day that meets its larvae.".to_owned(),
        |why| format!("No dates can be given: {why}."),
    ))
}

impl SpeciesPlan {
    fn of(case: &SpeciesCase<'_>, notation: &Notation) -> Self {
        let here = &case.here;
        Self {
            species: here.species.id.clone(),
            name: here.species.name.clone(),
            season: here.state.season.year,
            season_name: here.state.season.to_string(),
            alone: treat(&case.need),
            alone_why: need_words(&case.need, notation),
            is_held: here.state.hold.is_some_and(|hold| hold != Hold::NoData),
            tolerance_per_m2: case.tolerance,
            no_dates: match &case.hatching {
                Some(Err(why)) => Some(why.to_string()),
                _ => None,
            },
        }
    }
}

/// Days that the soil's mean is of.
const SOIL_DAYS: i64 = 7;

impl PlanReport {
    /// How to read what is shown of options; nothing where there is none.
    pub fn how_to_read(&self) -> Vec<&'static str> {
        let mut paragraphs = Vec::new();
        if self.options.iter().any(|option| option.restricted) {
            paragraphs.push(RESTRICTED);
        }
        if !self.options.is_empty() {
            paragraphs.push(HOW_TO_READ);
        }
        paragraphs
    }
}

impl SoilToday {
    /// Nothing where the last measured day is older than the days that it is made of.
    fn of(case: &SiteCase<'_>, today: NaiveDate) -> Option<Self> {
        let soil = &case.soil;
        let newest = case.species.first()?.here.state.data_through?;
        let mean = soil
            .on(today)
            .filter(|_| (0..SOIL_DAYS).contains(&(today - newest).num_days()))?;
        Some(Self {
            week_mean_c: (mean * 10.0).round() / 10.0,
            wakes: soil.warms_to(SLEEPING_BELOW_C),
            is_estimate: true,
        })
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
pub(super) fn decision(need: &Need, notation: &Notation) -> String {
    let justified = match need {
        Need::Preventive(Ground::LastYear) => "A preventive is justified. ",
        Need::Curative { .. } => "A curative may be justified. ",
        _ => "",
    };
    format!("{justified}{}", need_words(need, notation))
}

/// What was spread this season, and entries whose option is not there any more.
fn spread(config: &Config, case: &SiteCase<'_>) -> Vec<String> {
    let unknown = case.unknown(config).map(|(number, option)| {
        format!(
            "Number {number} of the journal names the option \"{option}\", which is not there any more; it does not count."
        )
    });
    std::iter::once(spread_words(
        &case.spread,
        case.site.area,
        &config.service.notation,
    ))
    .chain(unknown)
    .filter(|words| !words.is_empty())
    .collect()
}

/// The options that the site would use and that have no day worth it.
fn without_a_day(plan: &SitePlan<'_>) -> Option<String> {
    let names = plan.without_a_day.iter().map(|option| option.name.as_str());
    (!plan.without_a_day.is_empty()).then(|| {
        format!(
            "Without a day on which they would meet larvae in warm enough soil this season: {}.",
            joined(names)
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
    let why = match (&site.choice.only, site.choice.without.is_empty()) {
        (None, true) => "Restricted in many places, and not named for this site",
        _ => "Not among what this site would use",
    };
    (!names.is_empty()).then(|| format!("{why}: {}.", names.join(", ")))
}

/// How to count where a preventive is not called for: one digging for all species.
pub(super) fn counting(
    need: &Need,
    site: &Site,
    cases: &[SpeciesCase<'_>],
    days: Option<(NaiveDate, NaiveDate)>,
    notation: &Notation,
) -> Option<String> {
    let low =
        |case: &SpeciesCase<'_>| tolerance(&case.here.species.action_threshold, site.condition).0;
    let lowest = cases.iter().map(low).fold(f64::INFINITY, f64::min);
    let is_open = matches!(need, Need::CountMore { .. } | Need::Nothing(_)) && lowest.is_finite();
    is_open.then(|| {
        format!(
            "Counting: one digging for all species{}, {}. {}",
            days.map_or(String::new(), |(from, until)| format!(
                ", from about {} to {}",
                notation.day(from),
                notation.day(until)
            )),
            samples_words(site.samples, lowest, site.area, notation),
            how_to_dig(site.samples, notation)
        )
    })
}

/// Watering in, reliability, cautions and law of the options that are in time, by their names.
fn what_to_mind(plan: &SitePlan<'_>, notation: &Notation) -> Vec<String> {
    let in_time = plan
        .options
        .iter()
        .map(|one| &one.planned)
        .filter(|one| one.in_time(plan.day));
    let mut options: Vec<&TreatmentOption> = in_time.map(|one| one.option).collect();
    options.sort_by_key(|option| &option.id);
    options
        .into_iter()
        .map(|option| format!("{}: {}", option.name, how_words(option, notation)))
        .collect()
}

impl WateringStatus {
    pub(super) fn of(followed: &Followed<'_>, notation: &Notation) -> Self {
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
            in_words: water_in_words(followed.option, watering, None, notation),
        }
    }
}
