//! The season of a site's species as a course: its sum day by day beside what is usual.

use super::site_states::{SiteState, with_records};
use crate::config::Config;
use crate::domain::phenology::season_course::SeasonCourse;
use crate::domain::phenology::season_days::season_days;
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
    let longest_gap = config.limits.longest_gap_days;
    let wanted = |one: &crate::domain::place::site::Site| one.id == site;
    with_records(config, store, today, wanted, |here, record| {
        let season = here.state.season;
        let series = season_days(
            record.readings,
            &season,
            today,
            longest_gap,
            record.estimates,
        );
        let course = SeasonCourse::of(&here.species.model, season.start, &series, record.past);
        (here, course)
    })
}
