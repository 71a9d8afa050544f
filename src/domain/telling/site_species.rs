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

#[cfg(test)]
pub(super) mod kit {
    //! A lawn with Japanese beetles in 2026, whose season a test makes up.

    use super::*;
    use crate::config::species_file;
    use crate::domain::phenology::season::{MonthDay, Season};
    use crate::domain::treatment::choice::Choice;
    use chrono::NaiveDate;

    pub fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    pub fn morning(of: &str) -> DateTime<Utc> {
        day(of).and_hms_opt(6, 0, 0).unwrap().and_utc()
    }

    pub fn beetle() -> Species {
        let of = |(file, _): &&(&str, &str)| file.ends_with("/japanese-beetle.toml");
        let (file, text) = species_file::BUILT_IN.iter().find(of).unwrap();
        species_file::read(file, text).unwrap()
    }

    pub fn lawn() -> Site {
        Site {
            id: "lawn".into(),
            name: "The lawn".into(),
            turf: "ryegrass".into(),
            condition: None,
            samples: Default::default(),
            area: None,
            choice: Choice::default(),
            latitude: 41.8,
            station: "only".into(),
            blend: None,
            species: vec!["japanese-beetle".into()],
        }
    }

    /// Nothing passed and nothing held.
    pub fn early_season() -> SeasonState {
        SeasonState {
            season: Season::starting_in(2026, MonthDay::parse("01-01").unwrap()),
            data_through: Some(day("2026-05-01")),
            degree_days: 100.0,
            estimated_days: 0,
            crossings: Vec::new(),
            second_instar: None,
            hold: None,
            ahead: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::kit::{beetle, early_season, lawn, morning};
    use super::*;

    #[test]
    fn what_was_told_is_kept_under_its_site_species_and_season() {
        let (site, species, state) = (lawn(), beetle(), early_season());
        let here = SiteSpecies {
            site: &site,
            species: &species,
            state: &state,
        };
        let now = morning("2027-01-02");
        let expected = LoggedNotice {
            species: Some("japanese-beetle".to_owned()),
            season: Some(2026),
            ..LoggedNotice::of_site(LoggedKind::Held, "lawn", now)
        };
        assert_eq!(here.logged(LoggedKind::Held, now), expected);
    }
}
