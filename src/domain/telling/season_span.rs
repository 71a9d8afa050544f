//! The part of a season in which people want to know whether temperatures arrive.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::telling::season_letter::{Policy, is_near};
use crate::domain::telling::site_species::SiteSpecies;
use chrono::{Days, NaiveDate};

/// Days before the date cap from which on a season is under way where no dates are known. A choice: with
/// a cap on 30 September, 3 May.
const UNDER_WAY_BEFORE_CAP: u64 = 150;

/// The share of the first milestone's sum from which on a season is under way, however early. A choice.
const UNDER_WAY_SHARE: f64 = 1.0 / 3.0;

/// Whether a season is under way for a species at a site: from when its first milestone comes near to
/// the end of the window. In winter a missing day changes no date that anybody waits for.
pub fn is_under_way(here: &SiteSpecies<'_>, policy: &Policy, today: NaiveDate) -> bool {
    let state = here.state;
    let cap = here.species.window_cap(&state.season, here.site.latitude);
    let first = here.species.threshold(Milestone::AdultFlight).value;
    let is_over = state.passed(Milestone::WindowEnd).is_some();
    !is_over
        && (!state.crossings.is_empty()
            || state.degree_days >= UNDER_WAY_SHARE * first
            || is_near(state, policy, today)
            || today >= cap - Days::new(UNDER_WAY_BEFORE_CAP))
}

#[cfg(test)]
mod tests {
    use super::super::site_species::kit::{beetle, day, early_season, lawn};
    use super::*;
    use crate::domain::phenology::season_state::{Crossing, PassedBy, SeasonState};

    fn after(milestones: &[Milestone]) -> SeasonState {
        let crossings = milestones.iter().map(|milestone| Crossing {
            milestone: *milestone,
            on: day("2026-06-01"),
            by: PassedBy::Sum,
            degree_days: 600.0,
            estimated_days: 0,
        });
        SeasonState {
            crossings: crossings.collect(),
            ..early_season()
        }
    }

    #[test]
    fn a_season_is_under_way_from_spring_to_the_end_of_the_window() {
        let (site, species) = (lawn(), beetle());
        let is_on = |state: &SeasonState, today: &str| {
            let here = SiteSpecies {
                site: &site,
                species: &species,
                state,
            };
            is_under_way(&here, &Policy::default(), day(today))
        };
        assert!(!is_on(&after(&[]), "2026-02-10"));
        assert!(!is_on(&after(&[]), "2026-05-02"));
        assert!(is_on(&after(&[]), "2026-05-03"));
        assert!(is_on(&after(&[Milestone::AdultFlight]), "2026-04-20"));
        let warm = SeasonState {
            degree_days: 200.0,
            ..early_season()
        };
        assert!(is_on(&warm, "2026-02-10"));
        let over = after(&[Milestone::Hatch, Milestone::WindowEnd]);
        assert!(!is_on(&over, "2026-12-10"));
    }
}
