//! The season of a site's species as a course: its sum day by day beside what is usual.

use super::cases::{CaseSeen, case_seen, those_there};
use super::site_states::{SiteState, by_station, with_records};
use super::station_days::record_of;
use crate::config::Config;
use crate::domain::phenology::season_course::SeasonCourse;
use crate::domain::phenology::season_days::season_days;
use crate::domain::phenology::season_state::Record;
use crate::domain::place::site::Site;
use crate::domain::treatment::site_plan::SitePlan;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

/// Where a site stands with each of its species on `today`, with the course of the season.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn season_courses<'c>(
    config: &'c Config,
    store: &Store,
    site: &str,
    today: NaiveDate,
) -> Result<Vec<(SiteState<'c>, SeasonCourse)>, StoreError> {
    let wanted = |one: &Site| one.id == site;
    with_records(config, store, today, wanted, |here, record| {
        let course = course(config, &here, record, today);
        (here, course)
    })
}

/// A site with what is known for its plan, the hatch of each of its species, what was made of its plan
/// of what is called for, and the course of each species' season.
pub struct SiteAtOnce<'c, T> {
    /// The site and its species.
    pub case: super::SiteCase<'c>,
    /// What was made of the plan of what is called for.
    pub seen: T,
    /// The courses, one for each species of the case.
    pub courses: Vec<SeasonCourse>,
}

/// All there is to show of one site, by days of its station that are read once; `None` if it is not
/// there.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_at_once<'c, T>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    site: &str,
    see: impl Fn(&super::SiteCase<'c>, &SitePlan<'_>) -> Result<T, StoreError>,
) -> Result<Option<SiteAtOnce<'c, T>>, StoreError> {
    let wanted = |one: &Site| one.id == site;
    let made = by_station(config, store, today, wanted, |station, species| {
        let courses = species
            .iter()
            .map(|(here, season)| {
                let start = here.species.start.at_latitude(here.site.latitude);
                let record = record_of(station, (season.so_far.season, start));
                course(config, here, record, today)
            })
            .collect();
        let found = case_seen(config, store, today, species, &see)?;
        Ok(found.map(CaseSeen::hatched).map(|(case, seen)| SiteAtOnce {
            case,
            seen,
            courses,
        }))
    })?;
    Ok(those_there(made)?.into_iter().next())
}

fn course(
    config: &Config,
    here: &SiteState<'_>,
    record: Record<'_>,
    today: NaiveDate,
) -> SeasonCourse {
    let season = here.state.season;
    let series = season_days(
        record.readings,
        &season,
        today,
        config.limits.longest_gap_days,
        record.estimates,
    );
    SeasonCourse::of(&here.species.model, season.start, &series, record.past)
}
