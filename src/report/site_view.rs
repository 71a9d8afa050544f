//! All there is to show of a site, made at once: its plan, where it stands, its stations, and the season
//! of each species drawn.

use super::outlook::SpeciesOutlook;
use super::plan::PlanReport;
use super::season_picture::SeasonPicture;
use super::status::{SiteStatus, StationStatus, StatusSite};
use crate::config::Config;
use crate::cycle::{SiteAtOnce, site_at_once};
use crate::domain::place::site::{Member, Site};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

/// All there is to show of a site.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteView {
    /// Its plan.
    pub plan: PlanReport,
    /// Where it stands with each of its species.
    pub species: Vec<SiteStatus>,
    /// The stations that stand for it.
    pub stations: Vec<StationStatus>,
    /// The season of each species, to be drawn.
    pub pictures: Vec<SeasonPicture>,
}

impl SiteView {
    /// A site as seen on `today`; `None` if it has no station or no species.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        (member, site): (&Member, &Site),
        today: NaiveDate,
    ) -> Result<Option<Self>, StoreError> {
        let found = site_at_once(config, store, today, &site.id, |case, plan| {
            StatusSite::of(config, store, case, plan)
        })?;
        let Some(SiteAtOnce {
            case,
            seen: status,
            courses,
        }) = found
        else {
            return Ok(None);
        };
        let notation = &config.service.notation;
        let here = || case.species.iter().map(|species| &species.here);
        let own = site.stations();
        let feeds = config.stations.values();
        let feeds = feeds.filter(|feed| own.contains(&feed.station.id.as_str()));
        Ok(Some(Self {
            plan: PlanReport::of_case(config, store, (member, site), Some(&case), today)?,
            species: status.rows,
            stations: feeds
                .map(|feed| StationStatus::of(&feed.station, store, today))
                .collect::<Result<_, StoreError>>()?,
            pictures: here()
                .zip(courses)
                .map(|(here, course)| {
                    let outlook = SpeciesOutlook::of(here, None, notation);
                    SeasonPicture::of(&outlook, course, today, notation)
                })
                .collect(),
        }))
    }
}
