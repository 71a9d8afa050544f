//! Telling once that milestones of a species are held back, and once that they are not any more.

use crate::domain::phenology::season_state::Hold;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::telling::site_species::SiteSpecies;
use chrono::{DateTime, Utc};

/// What there is to tell of a hold, and what to keep of it. Before the season's first day arrives, and
/// after its last milestone, there is nothing to hold; before the season is under way it is no news.
pub fn hold_notice<'a>(
    here: &SiteSpecies<'a>,
    log: &NoticeLog,
    is_under_way: bool,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, LoggedNotice)> {
    let species = here.species;
    let hold = here.state.hold.filter(|hold| *hold != Hold::NoData);
    let over = here.state.next().is_none();
    let (notice, kind) = match hold {
        Some(hold) if !log.is_held() && is_under_way && !over => {
            (NoticeKind::Held { species, hold }, LoggedKind::Held)
        }
        None if log.is_held() => (NoticeKind::Released { species }, LoggedKind::Released),
        _ => return None,
    };
    Some((notice, here.logged(kind, now)))
}

#[cfg(test)]
mod tests {
    use super::super::site_species::kit::{beetle, day, early_season, lawn, morning};
    use super::*;
    use crate::domain::phenology::milestone::Milestone;
    use crate::domain::phenology::outlook::NoOutlook;
    use crate::domain::phenology::season_days::Gap;
    use crate::domain::phenology::season_state::{Expectation, SeasonState};

    fn told(hold: Option<Hold>, is_over: bool, before: &[LoggedKind]) -> Option<LoggedKind> {
        told_in_season(hold, is_over, true, before)
    }

    fn told_in_season(
        hold: Option<Hold>,
        is_over: bool,
        is_under_way: bool,
        before: &[LoggedKind],
    ) -> Option<LoggedKind> {
        let (site, species) = (lawn(), beetle());
        let ahead = Expectation {
            milestone: Milestone::Hatch,
            outlook: Err(NoOutlook::TooFewSeasons { found: 0 }),
        };
        let state = SeasonState {
            hold,
            ahead: if is_over { vec![] } else { vec![ahead] },
            ..early_season()
        };
        let here = SiteSpecies {
            site: &site,
            species: &species,
            state: &state,
        };
        let now = morning("2026-07-01");
        let before = before.iter().map(|kind| here.logged(*kind, now));
        let told = hold_notice(&here, &NoticeLog::new(before.collect()), is_under_way, now);
        told.map(|(_, logged)| logged.kind)
    }

    fn gap() -> Option<Hold> {
        Some(Hold::Gap(Gap {
            from: day("2026-06-01"),
            to: day("2026-06-20"),
        }))
    }

    #[test]
    fn a_hold_is_told_once_and_so_is_its_end() {
        use LoggedKind::{Held, Released};
        assert_eq!(told(gap(), false, &[]), Some(Held));
        assert_eq!(told(gap(), false, &[Held]), None);
        assert_eq!(told(None, false, &[Held]), Some(Released));
        assert_eq!(told(None, false, &[Held, Released]), None);
        assert_eq!(told(gap(), false, &[Held, Released]), Some(Held));
        assert_eq!(told(None, false, &[]), None);
    }

    #[test]
    fn before_the_first_day_and_after_the_last_milestone_nothing_is_held() {
        assert_eq!(told(Some(Hold::NoData), false, &[]), None);
        assert_eq!(told(gap(), true, &[]), None);
        assert_eq!(told_in_season(gap(), false, false, &[]), None);
    }
}
