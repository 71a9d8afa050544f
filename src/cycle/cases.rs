//! Whether to treat at each site, and with what: the domain decides, this brings it what is stored.

use super::site_states::{SiteState, with_records};
use crate::config::Config;
use crate::domain::journal::{Entry as Journal, JournalAction};
use crate::domain::place::site;
use crate::domain::scouting::tolerance;
use crate::domain::telling::treatment_notice::called_for;
use crate::domain::treatment::hatching::{Hatching, NoCoverage};
use crate::domain::treatment::need::{Broods, Evidence, Need, need};
use crate::domain::treatment::plan::{Spread, settled};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::rc::Rc;

/// What is known of a species at a site, for deciding on a treatment.
pub struct Case {
    /// Counts and damage.
    pub evidence: Evidence,
    /// Larvae per m² that the turf bears.
    pub tolerance: (f64, f64),
    /// Whether to treat, and on what ground.
    pub need: Need,
    /// The site's entries that stand, oldest first.
    pub entries: Vec<Journal>,
}

impl Case {
    fn of(store: &Store, here: &SiteState<'_>, today: NaiveDate) -> Result<Self, StoreError> {
        let entries = store.entries(&here.site.id)?;
        let broods = Broods::of(&here.species, here.site.latitude, &here.state);
        let evidence = Evidence::of(&entries, &here.species.id, &broods, today);
        let tolerance = tolerance(&here.species.action_threshold, here.site.condition);
        let need = need(&evidence, here.site.choice.preventives, tolerance);
        Ok(Self {
            evidence,
            tolerance,
            need,
            entries,
        })
    }

    /// Takes what was spread into account, by when larvae hatch.
    fn settle(
        &mut self,
        config: &Config,
        here: &SiteState<'_>,
        hatching: &Hatching,
        today: NaiveDate,
    ) {
        let spread = self.spread(config, here, today);
        self.need = settled(self.need, &spread, here.site.area, hatching);
    }

    /// What was spread at the site from the season's first day up to `today`.
    pub fn spread<'o>(
        &self,
        config: &'o Config,
        here: &SiteState<'_>,
        today: NaiveDate,
    ) -> Vec<Spread<'o>> {
        self.entries
            .iter()
            .filter(|entry| (here.state.season.start..=today).contains(&entry.day))
            .filter_map(|entry| match &entry.action {
                JournalAction::Application(spread) => Some(Spread {
                    option: config.options.get(&spread.option)?,
                    day: entry.day,
                    area: spread.area,
                }),
                _ => None,
            })
            .collect()
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

/// A site and a species with the decision on them, and when larvae hatch there or why not.
pub type Plans<'c> = Vec<(SiteState<'c>, Case, Result<Rc<Hatching>, NoCoverage>)>;

/// Whether and with what to treat at a site, for each of its species.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn plans<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    site: &str,
) -> Result<Plans<'c>, StoreError> {
    let wanted = |one: &site::Site| one.id == site;
    with_records(config, store, today, wanted, |here, _, season| {
        let hatching = season.hatching(&here);
        let mut case = Case::of(store, &here, today)?;
        if let Ok(hatching) = &hatching {
            case.settle(config, &here, hatching, today);
        }
        Ok((here, case, hatching))
    })?
    .into_iter()
    .collect()
}

/// A site and a species with the decision on them, and when larvae hatch there if that is needed.
pub(super) type Considered<'c> = (SiteState<'c>, Case, Option<Rc<Hatching>>);

/// Every site with each of its species; the hatch is worked out only where a treatment is due.
pub(super) fn consider<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
) -> Result<Vec<Considered<'c>>, StoreError> {
    let any = |_: &site::Site| true;
    with_records(config, store, today, any, |here, _, season| {
        let mut case = Case::of(store, &here, today)?;
        let is_due = case.need.purpose().is_some() && here.state.hold.is_none();
        let hatching = is_due.then(|| season.hatching(&here)).and_then(Result::ok);
        if let Some(hatching) = &hatching {
            case.settle(config, &here, hatching, today);
            // Sites that share a station share what is worked out here; it is remembered with the
            // hatching, and what it takes to work out more is not kept for every station at once.
            let options = config.options.values();
            for planned in called_for(here.site, options, &case.need, hatching, today) {
                planned.met_on(today);
            }
            hatching.forget_working();
        }
        Ok((here, case, hatching))
    })?
    .into_iter()
    .collect()
}
