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
