//! Telling the people of each site once that no days arrive, and once that they do again.

use super::cases::SiteCase;
use super::evaluate::Evaluation;
use super::site_states::{newest_day_of, newest_station};
use crate::config::Config;
use crate::domain::telling::data_notice::data_notice;
use crate::domain::telling::notice::Notice;
use crate::domain::telling::season_span::is_under_way;
use crate::store::milestones::Recording;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::HashSet;

/// What there is to tell of the data of all sites.
pub(super) fn data_notices<'c>(
    config: &'c Config,
    store: &Store,
    cases: &[SiteCase<'c>],
    now: DateTime<Utc>,
    evaluation: &mut Evaluation<'c>,
) -> Result<(), StoreError> {
    let today = now.date_naive();
    let under_way: HashSet<&str> = cases
        .iter()
        .filter(|case| is_site_under_way(config, case, today))
        .map(|case| case.site.id.as_str())
        .collect();
    for (member, site) in config.sites() {
        let Some(station) = config.quickest_station(site) else {
            continue;
        };
        let newest = newest_day_of(store, site)?;
        let log = store.notices_of_site(&site.id)?;
        let is_under_way = under_way.contains(site.id.as_str());
        let Some((kind, logged)) = data_notice(site, station, newest, (&log, is_under_way), now)
        else {
            continue;
        };
        evaluation.entries.push(Recording::Told(logged));
        let Some(kind) = kind else {
            continue;
        };
        evaluation.notices.push(Notice {
            member,
            site,
            // Its newest day is what the message speaks of.
            station: newest_station(config, store, site)?.unwrap_or(station),
            need: None,
            kind,
        });
    }
    Ok(())
}

/// Whether the season is under way for any of a site's species.
fn is_site_under_way(config: &Config, case: &SiteCase<'_>, today: NaiveDate) -> bool {
    let mut species = case.species.iter();
    species.any(|one| is_under_way(&one.here.site_species(), &config.notices, today))
}
