//! A site as a status shows it, apart from the others.

use super::DueStatus;
use super::site::{SiteStatus, stale_since};
use crate::config::Config;
use crate::cycle::{SiteCase, seen_plans, waterings};
use crate::domain::phenology::season_state::Hold;
use crate::domain::place::site::Site;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::site_plan::SitePlan;
use crate::domain::treatment::watering::Watering;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

/// A site with each of its species, and what is wrong there.
#[derive(Debug, Clone, PartialEq)]
pub struct StatusSite {
    /// Its id.
    pub id: String,
    pub(super) name: String,
    /// The ids of the stations that stand for it.
    pub(super) stations: Vec<String>,
    /// A row for each of its species.
    pub rows: Vec<SiteStatus>,
    /// Why milestones are held back, with the name of the station.
    pub(super) holds: Vec<(String, Hold)>,
    /// The days to which forecasts jump, with the name of the station.
    pub(super) jumps: Vec<(String, NaiveDate)>,
}

impl StatusSite {
    /// The wanted sites that have a species, in the order of the configuration.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_all(
        config: &Config,
        store: &Store,
        today: NaiveDate,
        wanted: impl Fn(&Site) -> bool,
    ) -> Result<Vec<Self>, StoreError> {
        let see = |case: &SiteCase<'_>, plan: &SitePlan<'_>| Self::of(config, store, case, plan);
        seen_plans(config, store, today, wanted, see)
    }

    /// By what is known of it and its plan of what is called for.
    pub(in crate::report) fn of(
        config: &Config,
        store: &Store,
        case: &SiteCase<'_>,
        plan: &SitePlan<'_>,
    ) -> Result<Self, StoreError> {
        let site = case.site;
        let due = due_at(config, store, case, plan)?;
        let stale_since = stale_since(site, config, store, plan.day)?;
        let here = || case.species.iter().map(|species| &species.here);
        // Before the season's first day arrives, and after its last milestone, nothing is held.
        let holds = here().filter_map(|here| {
            let hold = here.state.hold.filter(|hold| *hold != Hold::NoData)?;
            here.state.next()?;
            Some((here.feed.station.name.clone(), hold))
        });
        let jumps = here().filter_map(|here| {
            let (_, basis) = here.state.next()?.outlook.ok()?;
            Some((here.feed.station.name.clone(), basis.forecast_jumps_on?))
        });
        Ok(Self {
            id: site.id.clone(),
            name: site.name.clone(),
            stations: site.stations().into_iter().map(str::to_owned).collect(),
            rows: here()
                .map(|here| SiteStatus::of(here, &due, stale_since))
                .collect(),
            holds: holds.collect(),
            jumps: jumps.collect(),
        })
    }
}

/// What is due at a site by its plan and its waterings.
fn due_at(
    config: &Config,
    store: &Store,
    case: &SiteCase<'_>,
    plan: &SitePlan<'_>,
) -> Result<DueStatus, StoreError> {
    let followed = if case.has_applications() {
        waterings(config, store, case.site, plan.day)?
    } else {
        Vec::new()
    };
    let waterings: Vec<(&TreatmentOption, Watering)> = followed
        .into_iter()
        .map(|one| (one.option, one.watering))
        .collect();
    Ok(DueStatus::of(
        &case.due(plan, &waterings),
        plan.day,
        &config.service.notation,
    ))
}
