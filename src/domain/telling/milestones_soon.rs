//! Milestones of the next two weeks, told together with one that was passed: who has several sites or
//! species hears of all of them in a few messages instead of one a date.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::Crossing;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::telling::season_letter::Policy;
use crate::domain::telling::site_species::SiteSpecies;
use chrono::{DateTime, NaiveDate, Utc};

/// Days ahead for which milestones are told together with one that was passed. A choice.
const SOON_DAYS: i64 = 14;

/// The same for the end of the window, at which nothing is to be done. A choice.
const END_SOON_DAYS: i64 = 45;

fn days_ahead(milestone: Milestone) -> i64 {
    match milestone {
        Milestone::WindowEnd => END_SOON_DAYS,
        Milestone::AdultFlight | Milestone::EggLay | Milestone::Hatch => SOON_DAYS,
    }
}

/// The milestones of a species at a site that are likely within two weeks and were not told yet, and
/// what to keep of it.
pub fn milestones_soon<'a>(
    here: &SiteSpecies<'a>,
    log: &NoticeLog,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, Vec<LoggedNotice>)> {
    let today = now.date_naive();
    if here.state.hold.is_some() {
        return None;
    }
    let milestones: Vec<(Milestone, NaiveDate)> = here
        .state
        .ahead
        .iter()
        .filter(|one| !log.has(LoggedKind::Soon(one.milestone)))
        .filter_map(|one| {
            let likely = one.outlook.ok()?.0.likely?;
            let is_soon = (likely - today).num_days() <= days_ahead(one.milestone);
            is_soon.then_some((one.milestone, likely))
        })
        .collect();
    let logged: Vec<LoggedNotice> = milestones
        .iter()
        .map(|(milestone, likely)| LoggedNotice {
            due: Some(*likely),
            ..here.logged(LoggedKind::Soon(*milestone), now)
        })
        .collect();
    let species = here.species;
    (!milestones.is_empty()).then_some((
        NoticeKind::Soon {
            species,
            milestones,
        },
        logged,
    ))
}

/// Whether a milestone came as it was told shortly before: then it is no news.
pub fn came_as_told(crossing: &Crossing, log: &NoticeLog, policy: &Policy) -> bool {
    log.last_due(LoggedKind::Soon(crossing.milestone))
        .is_some_and(|told| {
            (crossing.on - told).num_days().unsigned_abs() < u64::from(policy.moved_days)
        })
}

#[cfg(test)]
mod tests {
    use super::super::site_species::kit::{beetle, day, early_season, lawn, morning};
    use super::*;
    use crate::domain::phenology::outlook::{Basis, NoOutlook, Outlook};
    use crate::domain::phenology::season_state::{Expectation, Hold, PassedBy, SeasonState};

    fn expected(milestone: Milestone, likely: Option<&str>) -> Expectation {
        let outlook = Outlook {
            early: likely.map(day),
            likely: likely.map(day),
            late: likely.map(day),
            passed: 0.0,
            within: [0.0; 3],
            never: 0.0,
            by_calendar: Default::default(),
        };
        Expectation {
            milestone,
            outlook: Ok((
                outlook,
                Basis {
                    data_through: day("2026-06-18"),
                    forecast_days: 0,
                    forecast_jumps_on: None,
                    past_seasons: 30,
                    borrowed: None,
                },
            )),
        }
    }

    fn told(state: &SeasonState, before: &[LoggedNotice]) -> Vec<(Milestone, NaiveDate)> {
        let (site, species) = (lawn(), beetle());
        let here = SiteSpecies {
            site: &site,
            species: &species,
            state,
        };
        let log = NoticeLog::new(before.to_vec());
        match milestones_soon(&here, &log, morning("2026-06-20")) {
            Some((NoticeKind::Soon { milestones, .. }, logged)) => {
                assert_eq!(logged.len(), milestones.len());
                milestones
            }
            other => {
                assert!(other.is_none());
                Vec::new()
            }
        }
    }

    fn summer() -> SeasonState {
        SeasonState {
            ahead: vec![
                expected(Milestone::EggLay, Some("2026-06-27")),
                expected(Milestone::Hatch, Some("2026-07-05")),
                expected(Milestone::WindowEnd, Some("2026-08-04")),
            ],
            ..early_season()
        }
    }

    #[test]
    fn what_is_likely_within_two_weeks_is_told_once() {
        let both = [
            (Milestone::EggLay, day("2026-06-27")),
            (Milestone::WindowEnd, day("2026-08-04")),
        ];
        assert_eq!(told(&summer(), &[]), both);
        let before = LoggedNotice {
            due: Some(day("2026-06-27")),
            ..LoggedNotice::of_site(
                LoggedKind::Soon(Milestone::EggLay),
                "lawn",
                morning("2026-06-14"),
            )
        };
        assert_eq!(told(&summer(), &[before]), both[1..]);
    }

    #[test]
    fn what_is_held_or_has_no_date_is_not_told_ahead() {
        let held = SeasonState {
            hold: Some(Hold::NoData),
            ..summer()
        };
        assert!(told(&held, &[]).is_empty());
        let unknown = Expectation {
            milestone: Milestone::Hatch,
            outlook: Err(NoOutlook::TooFewSeasons { found: 0 }),
        };
        let dateless = SeasonState {
            ahead: vec![unknown, expected(Milestone::WindowEnd, None)],
            ..early_season()
        };
        assert!(told(&dateless, &[]).is_empty());
    }

    #[test]
    fn a_date_that_differs_by_a_week_from_the_one_told_is_news() {
        let told = LoggedNotice {
            due: Some(day("2026-07-04")),
            ..LoggedNotice::of_site(
                LoggedKind::Soon(Milestone::Hatch),
                "lawn",
                morning("2026-06-20"),
            )
        };
        let log = NoticeLog::new(vec![told]);
        let came = |on: &str, milestone| {
            let crossing = Crossing {
                milestone,
                on: day(on),
                by: PassedBy::Sum,
                degree_days: 820.0,
                estimated_days: 0,
            };
            came_as_told(&crossing, &log, &Policy::default())
        };
        assert!(came("2026-07-10", Milestone::Hatch));
        assert!(came("2026-06-28", Milestone::Hatch));
        assert!(!came("2026-07-11", Milestone::Hatch));
        assert!(!came("2026-06-27", Milestone::Hatch));
        assert!(!came("2026-07-04", Milestone::EggLay));
    }
}
