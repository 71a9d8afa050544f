//! Telling once that milestones of a species are held back, and once that they are not any more.

use crate::domain::phenology::season_state::Hold;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::telling::site_species::SiteSpecies;
use chrono::{DateTime, Utc};

/// What there is to tell of a hold, and what to keep of it. Before the season's first day arrives,
/// and after its last milestone, there is nothing to hold.
pub fn hold_notice<'a>(
    here: &SiteSpecies<'a>,
    log: &NoticeLog,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, LoggedNotice)> {
    let species = here.species;
    let hold = here.state.hold.filter(|hold| *hold != Hold::NoData);
    let over = here.state.next().is_none();
    let (notice, kind) = match hold {
        Some(hold) if !log.is_held() && !over => {
            (NoticeKind::Held { species, hold }, LoggedKind::Held)
        }
        None if log.is_held() => (NoticeKind::Released { species }, LoggedKind::Released),
        _ => return None,
    };
    Some((notice, here.logged(kind, now)))
}
