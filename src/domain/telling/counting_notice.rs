//! When to ask for a count: larvae have hatched and are large enough to be seen; and what a count comes to.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::telling::milestone_decision::Recorded;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::telling::site_species::SiteSpecies;
use crate::domain::treatment::digging::{DugFor, digging};
use crate::domain::treatment::need::{Evidence, Need, Reason};
use chrono::{DateTime, Days, Utc};

/// Days ahead for which a count is asked for together with that of another site of the same people, so that
/// all are dug in few rounds. A choice.
const ASKED_AHEAD_DAYS: u64 = 21;

/// Days for which a count is news.
const NEWS_DAYS: i64 = 30;

/// A species of a site with what decides whether to dig for it.
#[derive(Debug, Clone, Copy)]
pub struct Countable<'a, 'r> {
    /// The site and the species.
    pub here: SiteSpecies<'a>,
    /// Counts and damage.
    pub evidence: &'r Evidence,
    /// Larvae per m² that the turf tolerates.
    pub tolerance: (f64, f64),
    /// The milestones recorded.
    pub recorded: &'r [Recorded],
}

/// Whether to ask for a count now, and what to keep of it: one digging a season for all species of a
/// site, where none was made. `log` is what was told of the site in the season; `with_others` is whether
/// the same people are asked to count elsewhere today: then this site is told with it up to three weeks
/// ahead.
pub fn counting_notice<'a>(
    species: &[Countable<'a, '_>],
    log: &NoticeLog,
    with_others: bool,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, LoggedNotice)> {
    let ahead = if with_others { ASKED_AHEAD_DAYS } else { 0 };
    let today = now.date_naive() + Days::new(ahead);
    let is_counted = species.iter().any(|one| one.evidence.this_brood.is_some());
    if is_counted || log.has(LoggedKind::CountNow) {
        return None;
    }
    // Who was told that the window has ended was told to count with it; who began to watch later was not.
    let open: Vec<&Countable<'a, '_>> = species
        .iter()
        .filter(|one| !one.is_told_of_the_end())
        .collect();
    let latitude = species.first()?.here.site.latitude;
    let dug_for: Vec<DugFor<'_>> = open.iter().map(|one| one.dug_for()).collect();
    let digging = digging(&dug_for, latitude, today)?;
    let due: Vec<&Countable<'a, '_>> = open
        .into_iter()
        .filter(|one| one.dug_for().is_due(latitude, today))
        .collect();
    let first = &due.first()?.here;
    let logged = LoggedNotice {
        season: Some(first.state.season.year),
        ..LoggedNotice::of_site(LoggedKind::CountNow, &first.site.id, now)
    };
    let species = due
        .iter()
        .map(|one| (one.here.species, one.tolerance))
        .collect();
    let from = Some(digging.since).filter(|since| *since > now.date_naive());
    Some((NoticeKind::CountNow { species, from }, logged))
}

/// What a count of this season's larvae comes to where it calls for nothing, told once; where it calls for
/// something, that is told as a step. `need` is the verdict on the site.
pub fn counted_notice<'a>(
    species: &[Countable<'a, '_>],
    need: Need,
    log: &NoticeLog,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, LoggedNotice)> {
    let calls_for_nothing = matches!(
        need,
        Need::Nothing(Reason::CountedBelow { .. }) | Need::CountMore { .. }
    );
    let counted = species
        .iter()
        .filter_map(|one| one.evidence.this_brood.as_ref());
    let on = counted.map(|(on, _)| *on).max()?;
    let is_news = (now.date_naive() - on).num_days() <= NEWS_DAYS;
    let first = &species.first()?.here;
    if !calls_for_nothing || !is_news || log.last_due(LoggedKind::Counted) == Some(on) {
        return None;
    }
    let logged = LoggedNotice {
        season: Some(first.state.season.year),
        due: Some(on),
        ..LoggedNotice::of_site(LoggedKind::Counted, &first.site.id, now)
    };
    Some((NoticeKind::Counted { on }, logged))
}

impl Countable<'_, '_> {
    fn dug_for(&self) -> DugFor<'_> {
        DugFor {
            species: self.here.species,
            state: self.here.state,
            evidence: self.evidence,
        }
    }

    fn is_told_of_the_end(&self) -> bool {
        let end = |known: &Recorded| known.milestone == Milestone::WindowEnd && known.told;
        self.recorded.iter().any(end)
    }
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
        with_others: bool,
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
        let species = Countable {
            here,
            evidence: &evidence,
            tolerance: (86.0, 161.0),
            recorded: &known.recorded,
        };
        counting_notice(&[species], &log, known.with_others, morning(today)).is_some()
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
    fn a_site_is_asked_up_to_three_weeks_ahead_with_others_of_the_same_people() {
        let with_others = Known {
            with_others: true,
            ..Known::default()
        };
        assert!(!asks(&hatched(), &with_others, "2026-07-11"));
        assert!(asks(&hatched(), &with_others, "2026-07-12"));
        assert!(!asks(&hatched(), &Known::default(), "2026-07-12"));
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

    #[test]
    fn one_digging_waits_three_weeks_for_a_species_that_hatched_later_and_is_told_of_the_site() {
        let (site, species) = (lawn(), beetle());
        let none = Evidence {
            this_brood: None,
            last_brood: None,
            damaged: None,
        };
        let later = SeasonState {
            crossings: vec![Crossing {
                on: day("2026-08-01"),
                ..hatched().crossings[0]
            }],
            ..early_season()
        };
        let asked = |states: [&SeasonState; 2], today: &str| {
            let species = states.map(|state| Countable {
                here: SiteSpecies {
                    site: &site,
                    species: &species,
                    state,
                },
                evidence: &none,
                tolerance: (86.0, 161.0),
                recorded: &[],
            });
            let (kind, logged) =
                counting_notice(&species, &NoticeLog::default(), false, morning(today))?;
            assert_eq!((logged.species, logged.season), (None, Some(2026)));
            let NoticeKind::CountNow { species, .. } = kind else {
                panic!("{kind:?}");
            };
            Some(species.len())
        };
        let (first, early) = (hatched(), early_season());
        // The second hatches four weeks after the first: the digging does not wait so long.
        assert_eq!(asked([&first, &later], "2026-08-22"), None);
        assert_eq!(asked([&first, &later], "2026-08-23"), Some(1));
        assert_eq!(asked([&first, &later], "2026-08-29"), Some(2));
        assert_eq!(asked([&first, &first], "2026-08-02"), Some(2));
        // One that has not hatched is not waited for.
        assert_eq!(asked([&first, &early], "2026-08-02"), Some(1));
    }
}
