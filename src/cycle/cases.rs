//! Whether to treat at each site, and with what: the domain decides, this brings it what is stored.

use super::site_states::{SiteState, SpeciesSeason, with_sites};
use crate::config::Config;
use crate::domain::journal::{Entry as Journal, JournalAction};
use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::place::site;
use crate::domain::scouting::tolerance;
use crate::domain::treatment::digging::DugFor;
use crate::domain::treatment::due::{Due, due};
use crate::domain::treatment::hatching::{Hatching, NoCoverage};
use crate::domain::treatment::need::{Broods, Evidence, Need, need};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::settled::Spread;
use crate::domain::treatment::site_need::{SiteNeed, SpeciesNeed};
use crate::domain::treatment::site_plan::{PlanScope, SiteFacts, SitePlan};
use crate::domain::treatment::watering::Watering;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::rc::Rc;

/// A species at a site with what is known for deciding on a treatment.
pub struct SpeciesCase<'c> {
    /// Where it stands.
    pub here: SiteState<'c>,
    /// Counts and damage.
    pub evidence: Evidence,
    /// Larvae per m² that the turf tolerates.
    pub tolerance: (f64, f64),
    /// Whether to treat for its sake alone, before what was spread.
    pub need: Need,
    /// When larvae hatch, or why that is not known; `None` where nobody needs to know.
    pub hatching: Option<Result<Rc<Hatching>, NoCoverage>>,
}

impl SpeciesCase<'_> {
    fn dug_for(&self) -> DugFor<'_> {
        DugFor {
            species: &self.here.species,
            state: &self.here.state,
            evidence: &self.evidence,
        }
    }

    fn need(&self) -> SpeciesNeed<'_> {
        SpeciesNeed {
            species: &self.here.species,
            evidence: &self.evidence,
            tolerance: self.tolerance,
            need: self.need,
            hatching: self.hatches(),
        }
    }

    /// When larvae hatch, if that was needed and is known.
    fn hatches(&self) -> Option<&Hatching> {
        match &self.hatching {
            Some(Ok(hatching)) => Some(hatching),
            _ => None,
        }
    }
}

/// A site with what is known for its plan.
pub struct SiteCase<'c> {
    /// Whose it is.
    pub member: &'c site::Member,
    /// The site.
    pub site: &'c site::Site,
    /// Its species, at least one.
    pub species: Vec<SpeciesCase<'c>>,
    /// The site's entries that stand, oldest first.
    pub entries: Vec<Journal>,
    /// What was spread this season.
    pub spread: Vec<Spread<'c>>,
    /// What was spread in the seasons before, with the year each started in.
    spread_before: Vec<(i32, &'c TreatmentOption)>,
    /// The soil of the season.
    pub soil: Rc<SoilCourse>,
}

/// A species at a site and its season there.
type Here<'c> = (SiteState<'c>, Rc<SpeciesSeason>);

/// A site's case with the seasons of its species, from which the hatch can be worked out.
type CaseAndSeasons<'c> = (SiteCase<'c>, Vec<Rc<SpeciesSeason>>);

impl SiteCase<'_> {
    /// Whether anything was ever spread there.
    pub fn has_applications(&self) -> bool {
        let is_one = |entry: &Journal| matches!(entry.action, JournalAction::Application(_));
        self.entries.iter().any(is_one)
    }

    /// What is due at the site by its plan, and by how what was spread stands with its water.
    pub fn due<'p>(
        &self,
        plan: &SitePlan<'p>,
        waterings: &[(&'p TreatmentOption, Watering)],
    ) -> Due<'p> {
        let species: Vec<DugFor<'_>> = self.species.iter().map(SpeciesCase::dug_for).collect();
        due(plan, &species, self.site.latitude, waterings)
    }
}

impl<'c> SiteCase<'c> {
    fn of(
        config: &'c Config,
        store: &Store,
        species: Vec<Here<'c>>,
        today: NaiveDate,
    ) -> Result<Option<CaseAndSeasons<'c>>, StoreError> {
        let Some((first, season)) = species.first() else {
            return Ok(None);
        };
        let (member, site, soil) = (first.member, first.site, season.soil());
        let entries = store.entries(&site.id)?;
        let applied = applications(config, &entries, first, today);
        let this_season = first.state.season.year;
        let (now, before): (Vec<_>, Vec<_>) = applied
            .into_iter()
            .partition(|(year, _)| *year == this_season);
        let (species, seasons): (Vec<_>, Vec<_>) = species
            .into_iter()
            .map(|(here, season)| (species_case(here, &entries, today), season))
            .unzip();
        let case = Self {
            member,
            site,
            species,
            spread: now.into_iter().map(|(_, spread)| spread).collect(),
            spread_before: before
                .into_iter()
                .map(|(year, one)| (year, one.option))
                .collect(),
            entries,
            soil,
        };
        Ok(Some((case, seasons)))
    }

    /// The year in which the season starts.
    pub fn season(&self) -> i32 {
        self.species[0].here.state.season.year
    }

    fn species_needs(&self) -> Vec<SpeciesNeed<'_>> {
        self.species.iter().map(SpeciesCase::need).collect()
    }

    /// Whether to treat.
    pub fn need(&self) -> SiteNeed {
        SiteNeed::of(&self.species_needs(), &self.spread, self.site.area)
    }

    /// The plan of the site.
    pub fn plan<'s>(
        &'s self,
        config: &'s Config,
        today: NaiveDate,
        wanted: PlanScope,
    ) -> SitePlan<'s> {
        let facts = SiteFacts {
            day: today,
            species: &self.species_needs(),
            choice: &self.site.choice,
            area: self.site.area,
            spread: &self.spread,
            spread_before: &self.spread_before,
            soil: Some(&self.soil),
        };
        SitePlan::of(facts, config.options.values(), wanted)
    }

    /// Works out when the larvae of each species hatch.
    fn hatch_all(&mut self, seasons: &[Rc<SpeciesSeason>]) {
        for (species, season) in self.species.iter_mut().zip(seasons) {
            species.hatching = Some(season.hatching(&species.here));
        }
    }

    /// Applications whose option the configuration does not have any more: number and option.
    pub fn unknown<'e>(&'e self, config: &'e Config) -> impl Iterator<Item = (i64, &'e str)> {
        self.entries.iter().filter_map(|entry| match &entry.action {
            JournalAction::Application(spread) if !config.options.contains_key(&spread.option) => {
                Some((entry.number, spread.option.as_str()))
            }
            _ => None,
        })
    }
}

fn species_case<'c>(here: SiteState<'c>, entries: &[Journal], today: NaiveDate) -> SpeciesCase<'c> {
    let broods = Broods::of(&here.species, here.site.latitude, &here.state);
    let evidence = Evidence::of(entries, &here.species.id, &broods, today);
    let tolerance = tolerance(&here.species.action_threshold, here.site.condition);
    let need = need(&evidence, here.site.choice.preventives, tolerance);
    SpeciesCase {
        here,
        evidence,
        tolerance,
        need,
        hatching: None,
    }
}

/// What was spread at a site up to `today`, with the year its season started in.
fn applications<'o>(
    config: &'o Config,
    entries: &[Journal],
    here: &SiteState<'_>,
    today: NaiveDate,
) -> Vec<(i32, Spread<'o>)> {
    let past = entries.iter().filter(|entry| entry.day <= today);
    past.filter_map(|entry| match &entry.action {
        JournalAction::Application(spread) => {
            let season = here.species.season_on(entry.day, here.site.latitude);
            let spread = Spread {
                option: config.options.get(&spread.option)?,
                day: entry.day,
                area: spread.area,
            };
            Some((season.year, spread))
        }
        _ => None,
    })
    .collect()
}

/// What is known of one site, with the hatch of each of its species; `None` if it is not there.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_case<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    site: &str,
) -> Result<Option<SiteCase<'c>>, StoreError> {
    let wanted = |one: &site::Site| one.id == site;
    let made = with_sites(config, store, today, wanted, |species| {
        hatched(config, store, species, today)
    })?;
    Ok(those_there(made)?.into_iter().next())
}

/// What `see` makes of each wanted site, of each of whose species it is known when it hatches; worked
/// out once for all sites of a station.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn with_hatches<T>(
    config: &Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    see: impl Fn(&SiteCase<'_>) -> Result<T, StoreError>,
) -> Result<Vec<T>, StoreError> {
    let made = with_sites(config, store, today, wanted, |species| {
        let case = hatched(config, store, species, today)?;
        case.map(|case| see(&case)).transpose()
    })?;
    those_there(made)
}

/// The case of a site with the hatch of each of its species.
fn hatched<'c>(
    config: &'c Config,
    store: &Store,
    species: Vec<Here<'c>>,
    today: NaiveDate,
) -> Result<Option<SiteCase<'c>>, StoreError> {
    let Some((mut case, seasons)) = SiteCase::of(config, store, species, today)? else {
        return Ok(None);
    };
    case.hatch_all(&seasons);
    Ok(Some(case))
}

/// What is known of every site; when larvae hatch is worked out only where a treatment is due.
pub(super) fn consider<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
) -> Result<Vec<SiteCase<'c>>, StoreError> {
    let made = with_sites(
        config,
        store,
        today,
        |_| true,
        |species| {
            // Sites that share a station share what is worked out here; it is remembered with the hatching.
            let work_out = |_: &SiteCase<'_>, plan: &SitePlan<'_>| {
                for one in &plan.options {
                    one.planned.met_on(today);
                }
                Ok(())
            };
            let Some(CaseSeen { case, .. }) = case_seen(config, store, today, species, work_out)?
            else {
                return Ok(None);
            };
            // What it takes to work out more is not kept for every station at once.
            for hatching in case.species.iter().filter_map(SpeciesCase::hatches) {
                hatching.forget_working();
            }
            Ok(Some(case))
        },
    )?;
    those_there(made)
}

/// What `see` makes of each wanted site and its plan of what is called for, in the order of the
/// configuration; when larvae hatch is worked out only where a treatment is due, and once for all sites of a
/// station.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn seen_plans<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    see: impl Fn(&SiteCase<'c>, &SitePlan<'_>) -> Result<T, StoreError>,
) -> Result<Vec<T>, StoreError> {
    let made = with_sites(config, store, today, wanted, |species| {
        let found = case_seen(config, store, today, species, &see)?;
        Ok(found.map(|found| found.seen))
    })?;
    those_there(made)
}

/// What `make` makes of each wanted site, in the order of the configuration, once it is known when the
/// larvae of each species hatch, and of what `see` made of its plan of what is called for; both worked
/// out once for all sites of a station.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn with_plans_and_hatches<'c, T, U>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    wanted: impl Fn(&site::Site) -> bool,
    see: impl Fn(&SiteCase<'c>, &SitePlan<'_>) -> Result<T, StoreError>,
    make: impl Fn(&SiteCase<'c>, T) -> Result<U, StoreError>,
) -> Result<Vec<U>, StoreError> {
    let made = with_sites(config, store, today, wanted, |species| {
        let found = case_seen(config, store, today, species, &see)?;
        let made = found.map(CaseSeen::hatched);
        made.map(|(case, seen)| make(&case, seen)).transpose()
    })?;
    those_there(made)
}

/// What was made of sites, without those of which nothing can be made.
pub(super) fn those_there<T>(
    made: Vec<Result<Option<T>, StoreError>>,
) -> Result<Vec<T>, StoreError> {
    made.into_iter().filter_map(Result::transpose).collect()
}

/// A site's case with what was made of its plan.
pub(super) struct CaseSeen<'c, T> {
    /// The case; when larvae hatch is worked out only where a treatment is due.
    pub case: SiteCase<'c>,
    /// The seasons of its species.
    pub seasons: Vec<Rc<SpeciesSeason>>,
    /// What was made of the plan of what is called for.
    pub seen: T,
}

impl<'c, T> CaseSeen<'c, T> {
    /// The case once it is known when the larvae of each species hatch, and what was made of its plan before.
    pub fn hatched(mut self) -> (SiteCase<'c>, T) {
        self.case.hatch_all(&self.seasons);
        (self.case, self.seen)
    }
}

/// A site with what `see` makes of its plan of what is called for; `None` if it has no species.
pub(super) fn case_seen<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    species: Vec<Here<'c>>,
    see: impl Fn(&SiteCase<'c>, &SitePlan<'_>) -> Result<T, StoreError>,
) -> Result<Option<CaseSeen<'c, T>>, StoreError> {
    let Some((mut case, seasons)) = SiteCase::of(config, store, species, today)? else {
        return Ok(None);
    };
    let called = case.need().calls;
    for place in &called {
        let species = &mut case.species[*place];
        if species.here.state.hold.is_none() {
            species.hatching = Some(seasons[*place].hatching(&species.here));
        }
    }
    let seen = see(&case, &case.plan(config, today, PlanScope::CalledFor))?;
    Ok(Some(CaseSeen {
        case,
        seasons,
        seen,
    }))
}
