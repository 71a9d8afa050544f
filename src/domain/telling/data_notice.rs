//! Telling the people of a site once that no days arrive, and once that they do again.

use crate::domain::place::site::{Site, Station};
use crate::domain::telling::feed_trouble::is_stale;
use crate::domain::telling::notice::NoticeKind;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use chrono::{DateTime, Days, NaiveDate, Utc};

/// Days for which a station must have been stale before the people of its sites hear of it; whoever runs
/// hatchbell sees it at once. A choice: most silences are over by then, and no date moves by much.
const TOLD_AFTER_DAYS: u64 = 4;

/// What there is to tell of a site's data, if anything, and what to keep of it, given the newest whole
/// day of any of its stations; `station` is the one that publishes soonest. Between two seasons nothing
/// is told.
pub fn data_notice<'a>(
    site: &Site,
    station: &Station,
    newest: Option<NaiveDate>,
    (log, is_under_way): (&NoticeLog, bool),
    now: DateTime<Utc>,
) -> Option<(Option<NoticeKind<'a>>, LoggedNotice)> {
    let today = now.date_naive();
    let (kind, notice) = match (log.is_stale(), newest) {
        (true, Some(newest)) if !is_stale(station, Some(newest), today) => {
            (LoggedKind::Fresh, NoticeKind::Fresh { newest })
        }
        (false, newest)
            if is_under_way && is_stale(station, newest, today - Days::new(TOLD_AFTER_DAYS)) =>
        {
            (LoggedKind::Stale, NoticeKind::Stale { newest })
        }
        _ => return None,
    };
    Some((
        is_under_way.then_some(notice),
        LoggedNotice::of_site(kind, &site.id, now),
    ))
}

#[cfg(test)]
mod tests {
    use super::super::site_species::kit::{day, lawn, morning};
    use super::*;
    use crate::domain::weather::observation_day::DayShift;

    fn told(newest: Option<&str>, before: &[LoggedKind]) -> Option<LoggedKind> {
        let (is_told, kind) = decided(newest, before, true)?;
        assert!(is_told);
        Some(kind)
    }

    fn decided(
        newest: Option<&str>,
        before: &[LoggedKind],
        is_under_way: bool,
    ) -> Option<(bool, LoggedKind)> {
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
        let newest = newest.map(day);
        let told = data_notice(&lawn(), &station, newest, (&log, is_under_way), now);
        told.map(|(notice, logged)| (notice.is_some(), logged.kind))
    }

    #[test]
    fn a_silence_is_told_once_and_so_is_its_end() {
        use LoggedKind::{Fresh, Stale};
        // Days come four days late, are stale three days after that and told of four days later.
        let (old, late, new) = (Some("2026-06-28"), Some("2026-06-29"), Some("2026-07-03"));
        assert_eq!(told(late, &[]), None);
        assert_eq!(told(Some("2026-07-02"), &[Stale]), None);
        assert_eq!(told(new, &[]), None);
        assert_eq!(told(old, &[]), Some(Stale));
        assert_eq!(told(None, &[]), Some(Stale));
        assert_eq!(told(old, &[Stale]), None);
        assert_eq!(told(new, &[Stale]), Some(Fresh));
        assert_eq!(told(new, &[Stale, Fresh]), None);
        assert_eq!(told(old, &[Stale, Fresh]), Some(Stale));
    }

    #[test]
    fn between_two_seasons_nothing_is_told_and_an_end_is_noted() {
        use LoggedKind::{Fresh, Stale};
        assert_eq!(decided(None, &[], false), None);
        assert_eq!(
            decided(Some("2026-07-03"), &[Stale], false),
            Some((false, Fresh))
        );
    }
}
