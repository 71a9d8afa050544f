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

#[cfg(test)]
mod tests {
    use super::super::site_species::kit::{day, lawn, morning};
    use super::*;
    use crate::domain::weather::observation_day::DayShift;

    fn told(newest: Option<&str>, before: &[LoggedKind]) -> Option<LoggedKind> {
        let station = Station {
            id: "only".into(),
            name: "The only station".into(),
            usual_lag_days: 4,
            elevation_m: None,
            neighbours: vec![],
            day_shift: DayShift::default(),
        };
        let now = morning("2026-07-10");
        let before = before
            .iter()
            .map(|kind| LoggedNotice::of_site(*kind, "lawn", now));
        let log = NoticeLog::new(before.collect());
        let told = data_notice(&lawn(), &station, newest.map(day), &log, now);
        told.map(|(_, logged)| logged.kind)
    }

    #[test]
    fn a_silence_is_told_once_and_so_is_its_end() {
        use LoggedKind::{Fresh, Stale};
        let (old, new) = (Some("2026-07-02"), Some("2026-07-03"));
        assert_eq!(told(new, &[]), None);
        assert_eq!(told(old, &[]), Some(Stale));
        assert_eq!(told(None, &[]), Some(Stale));
        assert_eq!(told(old, &[Stale]), None);
        assert_eq!(told(new, &[Stale]), Some(Fresh));
        assert_eq!(told(new, &[Stale, Fresh]), None);
        assert_eq!(told(old, &[Stale, Fresh]), Some(Stale));
    }
}
