//! When to ask for a count: larvae have hatched and are large enough to be seen.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::telling::milestone_decision::Recorded;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::telling::site_species::SiteSpecies;
use crate::domain::treatment::need::{Brood, Broods, Evidence};
use chrono::{DateTime, Days, NaiveDate, Utc};

/// Days after which counting is not asked for any more, counted from the date cap. A choice: in
/// cooling soil larvae go down.
const COUNTED_AFTER_CAP: u64 = 14;

/// Whether to ask for a count now, and what to keep of it: once a season, where none was made.
pub fn counting_notice<'a>(
    here: &SiteSpecies<'a>,
    evidence: &Evidence,
    tolerance: (f64, f64),
    recorded: &[Recorded],
    log: &NoticeLog,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, LoggedNotice)> {
    let is_open = !log.has(LoggedKind::CountNow) && evidence.this_brood.is_none();
    (is_open && is_time_to_count(here, recorded, now.date_naive())).then(|| {
        let species = here.species;
        let notice = NoticeKind::CountNow { species, tolerance };
        (notice, here.logged(LoggedKind::CountNow, now))
    })
}

/// Whether larvae hatched and can be counted now. Who was told that the window has ended was told to
/// count with it; who began to watch later was not.
fn is_time_to_count(here: &SiteSpecies<'_>, recorded: &[Recorded], today: NaiveDate) -> bool {
    let latitude = here.site.latitude;
    let cap = here.species.window_cap(&here.state.season, latitude);
    let broods = Broods::of(here.species, latitude, here.state);
    let told_of_the_end = recorded
        .iter()
        .any(|known| known.milestone == Milestone::WindowEnd && known.told);
    here.state.hold.is_none()
        && here.state.passed(Milestone::Hatch).is_some()
        && broods.on(today) == Brood::This
        && !told_of_the_end
        && today <= cap + Days::new(COUNTED_AFTER_CAP)
}

#[cfg(test)]
mod tests {
    use super::super::site_species::kit::{beetle, day, early_season, lawn, morning};
    use super::*;
    use crate::domain::phenology::season_days::Gap;
    use crate::domain::phenology::season_state::{Crossing, Hold, PassedBy, SeasonState};
    use crate::domain::scouting::Found;

    /// Larvae hatch from 5 July and can be counted from 2 August; the date cap is 30 September.
    fn hatched() -> SeasonState {
        SeasonState {
            crossings: vec![Crossing {
                milestone: Milestone::Hatch,
                on: day("2026-07-05"),
                by: PassedBy::Sum,
                degree_days: 820.0,
                estimated_days: 0,
            }],
            ..early_season()
        }
    }

    /// What can keep people from being asked.
    #[derive(Default)]
    struct Known {
        counted: bool,
        recorded: Vec<Recorded>,
        told: Vec<LoggedNotice>,
    }

    fn asks(state: &SeasonState, known: &Known, today: &str) -> bool {
        let (site, species) = (lawn(), beetle());
        let here = SiteSpecies {
            site: &site,
            species: &species,
            state,
        };
        let evidence = Evidence {
            this_brood: known
                .counted
                .then(|| (day("2026-08-02"), Found::of_density(50.0).unwrap())),
            last_brood: None,
            damaged: None,
        };
        let log = NoticeLog::new(known.told.clone());
        let range = (86.0, 161.0);
        counting_notice(
            &here,
            &evidence,
            range,
            &known.recorded,
            &log,
            morning(today),
        )
        .is_some()
    }

    #[test]
    fn counting_is_asked_for_from_the_day_larvae_can_be_counted_to_two_weeks_after_the_cap() {
        for (today, is_asked) in [
            ("2026-08-01", false),
            ("2026-08-02", true),
            ("2026-10-14", true),
            ("2026-10-15", false),
            ("2026-12-20", false),
        ] {
            assert_eq!(
                asks(&hatched(), &Known::default(), today),
                is_asked,
                "{today}"
            );
        }
    }

    #[test]
    fn counting_is_not_asked_for_before_hatch_or_while_milestones_are_held() {
        let none = Known::default();
        assert!(!asks(&early_season(), &none, "2026-10-01"));
        let held = SeasonState {
            hold: Some(Hold::Gap(Gap {
                from: day("2026-07-10"),
                to: day("2026-07-30"),
            })),
            ..hatched()
        };
        assert!(!asks(&held, &none, "2026-08-20"));
    }

    #[test]
    fn who_counted_was_asked_or_was_told_of_the_end_is_not_asked() {
        let counted = Known {
            counted: true,
            ..Known::default()
        };
        let asked = Known {
            told: vec![LoggedNotice::of_site(
                LoggedKind::CountNow,
                "lawn",
                morning("2026-08-02"),
            )],
            ..Known::default()
        };
        let end = |told| Known {
            recorded: vec![Recorded {
                milestone: Milestone::WindowEnd,
                on: day("2026-08-15"),
                told,
                corrected_to: None,
                withdrawn: false,
            }],
            ..Known::default()
        };
        for known in [&counted, &asked, &end(true)] {
            assert!(!asks(&hatched(), known, "2026-08-20"));
        }
        assert!(asks(&hatched(), &end(false), "2026-08-20"));
    }
}
