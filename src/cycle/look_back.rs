//! Looking back on a season: brings the domain what was told, logged and measured.

use super::advising::rain_at;
use super::site_states::{SiteState, newest_day_of, with_records};
use crate::config::Config;
use crate::domain::journal::{Application, Entry, JournalAction};
use crate::domain::look_back::{
    Applied, Counts, Foretelling, HatchSpan, LookBack, Met, MilestoneReview, NotKnown, OfSpecies,
    Outcome, SentNotice, Told, active_span, outcome, told_of_treatments, told_of_watering,
};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season::Season;
use crate::domain::phenology::season_state::{Record, SeasonSoFar};
use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::phenology::species::Species;
use crate::domain::place::site;
use crate::domain::scouting::tolerance;
use crate::domain::treatment::hatching::{Hatching, NoCoverage};
use crate::domain::treatment::need::Broods;
use crate::domain::treatment::served::Target;
use crate::domain::treatment::watering::{Watering, WateringState, watering};
use crate::store::{Store, StoreError};
use chrono::{Datelike, NaiveDate};
use std::collections::{BTreeSet, HashMap};

/// A species with when its larvae hatched, or why that is not known.
struct Hatched {
    review: OfSpecies,
    species: Species,
    hatching: Result<Hatching, NotKnown>,
    soil: SoilCourse,
}

/// The season of a site that starts in a year: that of its first species.
fn season_of(config: &Config, site: &site::Site, year: i32) -> Option<Season> {
    let species = config.species.get(site.species.first()?)?;
    Some(Season::starting_in(
        year,
        species.start.at_latitude(site.latitude),
    ))
}

/// The years in which seasons start of which a site's stations have days or its journal entries,
/// up to `today`.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn seasons_on_record(
    config: &Config,
    store: &Store,
    site: &site::Site,
    today: NaiveDate,
) -> Result<BTreeSet<i32>, StoreError> {
    let mut days: BTreeSet<NaiveDate> = BTreeSet::new();
    if newest_day_of(store, site)?.is_some() {
        for station in site.stations() {
            days.extend(store.readings(station)?.keys());
        }
    }
    days.extend(store.entries(&site.id)?.iter().map(|entry| entry.day));
    let year_of = |day: NaiveDate| {
        let season = season_of(config, site, day.year())?;
        Some(season.year - i32::from(day < season.start))
    };
    Ok(days
        .range(..=today)
        .filter_map(|day| year_of(*day))
        .collect())
}

/// A site's season that starts in `year`, as seen on `today`; `None` if it has not begun.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn look_back(
    config: &Config,
    store: &Store,
    site: &site::Site,
    year: i32,
    today: NaiveDate,
) -> Result<Option<LookBack>, StoreError> {
    let Some(season) = season_of(config, site, year).filter(|season| season.start <= today) else {
        return Ok(None);
    };
    let through = today.min(season.end);
    let entries = store.entries(&site.id)?;
    let wanted = |one: &site::Site| one.id == site.id;
    let hatched: Vec<Hatched> = with_records(config, store, through, wanted, |here, record| {
        of_species(config, store, &here, record, &entries, (through, today))
    })?
    .into_iter()
    .collect::<Result<_, _>>()?;
    let in_season = |entry: &&Entry| (season.start..=through).contains(&entry.day);
    let applied = applied(config, store, site, &entries, &season, &hatched, today)?;
    let species: Vec<OfSpecies> = hatched.into_iter().map(|one| one.review).collect();
    let told = told(config, store, site, &season, &species, &entries, today)?;
    let depths: Vec<f64> = entries
        .iter()
        .filter(in_season)
        .filter_map(|entry| match entry.action {
            JournalAction::Irrigation { depth } => Some(depth.mm()),
            _ => None,
        })
        .collect();
    let damage = entries
        .iter()
        .filter(in_season)
        .filter_map(|entry| match entry.action {
            JournalAction::Note { damage } => Some((entry.day, damage?)),
            _ => None,
        })
        .collect();
    Ok(Some(LookBack {
        season,
        through,
        is_over: today > season.end,
        species,
        told,
        applied,
        irrigation: (depths.iter().fold(0.0, |sum, mm| sum + mm), depths.len()),
        damage,
    }))
}

fn of_species(
    config: &Config,
    store: &Store,
    here: &SiteState<'_>,
    record: Record<'_>,
    entries: &[Entry],
    (through, today): (NaiveDate, NaiveDate),
) -> Result<Hatched, StoreError> {
    let state = &here.state;
    let season = &state.season;
    let foretold = up_to(store.foretellings(here.pair(), season.year)?, today);
    let mut announced = store.announced(here.pair(), season.year)?;
    announced.retain(|one| one.on <= today);
    let milestones: Vec<MilestoneReview> = Milestone::ALL
        .into_iter()
        .map(|milestone| MilestoneReview::of(milestone, &foretold, &announced, &state.crossings))
        .collect();
    let (hatching, is_settled) = hatching(config, here, record, through);
    let tolerance = tolerance(&here.species.action_threshold, here.site.condition);
    let species = OfSpecies {
        id: here.species.id.clone(),
        name: here.species.name.clone(),
        data_through: state.data_through,
        watched_from: store.watched_from(here.pair())?,
        is_held: state.hold.is_some(),
        counts: Counts::of(
            entries,
            &here.species.id,
            season,
            &Broods::of(&here.species, here.site.latitude, state),
            today,
            tolerance,
        ),
        tolerance,
        hatch: match &hatching {
            Ok(hatching) => HatchSpan::of(hatching).ok_or(NotKnown::FewHatched),
            Err(why) => Err(*why),
        },
        is_settled,
        catches: store
            .catches(here.pair())?
            .into_iter()
            .filter(|(day, beetles)| (season.start..=through).contains(day) && *beetles != Some(0))
            .map(|(day, _)| day)
            .collect(),
        milestones,
    };
    let so_far = SeasonSoFar::of(&here.species.model, *season, record, through, config.limits);
    Ok(Hatched {
        review: species,
        species: here.species.clone().into_owned(),
        hatching,
        soil: SoilCourse::of(&so_far, record.past),
    })
}

/// When larvae hatched, or why that is not known; and whether that rests on observed days alone.
fn hatching(
    config: &Config,
    here: &SiteState<'_>,
    record: Record<'_>,
    through: NaiveDate,
) -> (Result<Hatching, NotKnown>, bool) {
    let (species, latitude) = (&here.species, here.site.latitude);
    let observed = Hatching::as_observed(species, latitude, record, through, config.limits);
    let is_settled = observed.is_some();
    let hatching = observed
        .unwrap_or_else(|| Hatching::of_record(species, latitude, record, through, config.limits));
    let hatching = hatching.map_err(|why| match why {
        NoCoverage::NoHatch if is_settled => NotKnown::NoneHatched,
        other => other.into(),
    });
    (hatching, is_settled)
}

fn up_to(mut foretold: Vec<Foretelling>, today: NaiveDate) -> Vec<Foretelling> {
    foretold.retain(|one| one.told_on <= today);
    foretold
}

fn applied(
    config: &Config,
    store: &Store,
    site: &site::Site,
    entries: &[Entry],
    season: &Season,
    hatched: &[Hatched],
    today: NaiveDate,
) -> Result<Vec<Applied>, StoreError> {
    let rain = rain_at(store, site, season.start)?;
    let irrigation: Vec<(NaiveDate, f64)> = entries
        .iter()
        .filter_map(|entry| match entry.action {
            JournalAction::Irrigation { depth } => Some((entry.day, depth.mm())),
            _ => None,
        })
        .collect();
    let last = today.min(season.end);
    let spread: Vec<(&Entry, &Application)> = entries
        .iter()
        .filter(|entry| (season.start..=last).contains(&entry.day))
        .filter_map(|entry| match &entry.action {
            JournalAction::Application(application) => Some((entry, application)),
            _ => None,
        })
        .collect();
    Ok(spread
        .into_iter()
        .map(|(entry, application)| {
            let option = config.options.get(&application.option);
            let water = option
                .map(|option| watering(&option.watering_in, entry.day, &rain, &irrigation, today));
            let from = match water.map(|water: Watering| water.state) {
                Some(WateringState::Done(on)) => on,
                _ => entry.day,
            };
            let met = |one: &Hatched| -> Result<Met, NotKnown> {
                let option = option.ok_or(NotKnown::NoOption)?;
                let target = Target {
                    species: &one.species,
                    hatching: one.hatching.as_ref().map_err(|why| *why)?,
                };
                match outcome(option, target, &one.soil, entry.day, water.as_ref()) {
                    Outcome::Met(met) => Ok(met),
                    Outcome::Nothing => Err(NotKnown::NoneMet),
                    Outcome::Outside => Err(NotKnown::AfterCap),
                }
            };
            Applied {
                number: entry.number,
                day: entry.day,
                option: application.option.clone(),
                name: option
                    .map_or(&application.option, |option| &option.name)
                    .clone(),
                purpose: option.map(|option| option.purpose),
                area: application.area,
                rate: application.rate,
                share_of_site: site.area.map(|area| application.area.m2() / area.m2()),
                watering: water,
                active: option.and_then(|option| active_span(option, from)),
                met: hatched
                    .iter()
                    .map(|one| (one.review.name.clone(), met(one)))
                    .collect(),
                counted_before: hatched.iter().any(|one| {
                    let counts = &one.review.counts.all;
                    counts
                        .iter()
                        .any(|one| one.is_own() && one.day <= entry.day)
                }),
            }
        })
        .collect())
}

fn told(
    config: &Config,
    store: &Store,
    site: &site::Site,
    season: &Season,
    species: &[OfSpecies],
    entries: &[Entry],
    today: NaiveDate,
) -> Result<Vec<Told>, StoreError> {
    let option_name = |id: &str| {
        let option = config.options.get(id);
        option.map_or(id, |option| &option.name).to_owned()
    };
    let mut told = Vec::new();
    for one in species {
        for review in &one.milestones {
            told.extend(review.foretold.iter().map(|notice| Told {
                on: notice.told_on,
                what: SentNotice::Foretold {
                    species: one.name.clone(),
                    notice: *notice,
                },
            }));
            let announced = review.announced.filter(|one| one.recorded.told);
            told.extend(announced.map(|announced| Told {
                on: announced.on,
                what: SentNotice::Passed {
                    species: one.name.clone(),
                    recorded: announced.recorded,
                },
            }));
        }
    }
    let log = store.notices_of_season(&site.id, season.year)?;
    told.extend(told_of_treatments(&log, option_name));
    // Watering in is kept under an entry's first number.
    let mut by_first_number = HashMap::new();
    for entry in entries {
        by_first_number.insert(store.first_number(entry.number)?, entry);
    }
    let log = store.notices_of_site(&site.id)?;
    told.extend(told_of_watering(
        &log,
        &by_first_number,
        season,
        option_name,
    ));
    told.retain(|one| one.on <= today);
    told.sort_by_key(|one| one.on);
    Ok(told)
}
