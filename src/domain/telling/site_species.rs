//! A site and one of its species in a season: what most notices are about.

use crate::domain::phenology::season_state::SeasonState;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice};
use chrono::{DateTime, Utc};

/// A site and one of its species, with where they stand.
#[derive(Debug, Clone, Copy)]
pub struct SiteSpecies<'a> {
    /// The site.
    pub site: &'a Site,
    /// The species, moved by the site's own catches if there are any.
    pub species: &'a Species,
    /// Where they stand.
    pub state: &'a SeasonState,
}

impl SiteSpecies<'_> {
    /// What is kept of a notice about them.
    pub fn logged(&self, kind: LoggedKind, told_at: DateTime<Utc>) -> LoggedNotice {
        LoggedNotice {
            species: Some(self.species.id.clone()),
            season: Some(self.state.season.year),
            ..LoggedNotice::of_site(kind, &self.site.id, told_at)
        }
    }
}
