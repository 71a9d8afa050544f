//! Telling the people of a site once that no days arrive, and once that they do again.

use crate::domain::place::site::{Site, Station};
use crate::domain::telling::feed_trouble::is_stale;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use chrono::{DateTime, NaiveDate, Utc};

/// What there is to tell of a site's data, and what to keep of it, given the newest whole day of
/// any of its stations; `station` is the one that publishes soonest.
pub fn data_notice<'a>(
    site: &Site,
    station: &Station,
    newest: Option<NaiveDate>,
    log: &NoticeLog,
    now: DateTime<Utc>,
) -> Option<(NoticeKind<'a>, LoggedNotice)> {
    let stale = is_stale(station, newest, now.date_naive());
    if log.is_stale() == stale {
        return None;
    }
    let (notice, kind) = match newest {
        Some(newest) if !stale => (NoticeKind::Fresh { newest }, LoggedKind::Fresh),
        _ => (NoticeKind::Stale { newest }, LoggedKind::Stale),
    };
    Some((notice, LoggedNotice::of_site(kind, &site.id, now)))
}
