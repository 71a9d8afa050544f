//! Holding a file against the last good one.
//!
//! A file can be well made and still do harm: cut off at a line's end, an older copy, with other
//! columns. Nothing here deletes: what lost days is merged all the same, because merging loses
//! nothing, and flagged, and the larger file stays the one that later ones are held against.

use super::full_date;
use super::header::{HeaderChange, header_change};
use crate::domain::telling::feed_trouble::{Finding, Trouble};
use crate::domain::weather::reading::Readings;
use crate::station_feed::dialect::Binding;
use crate::station_feed::memory::{FileProfile, whole_days};
use chrono::{DateTime, Datelike, TimeDelta, Utc};

/// A newest day that goes back by so many days is a day held up by its publisher's quality check.
const BACK_DAYS: i64 = 1;
/// So many days may go from the middle of a file: publishers void single ones.
const FEW_DAYS: i64 = 3;
/// A file that begins on the first of a month has begun anew if it holds no more days than this, or
/// if it begins after the last one's end.
const NEW_PERIOD_DAYS: i64 = 31;
/// A smaller file that has grown for so long is taken for the feed's new form.
const SETTLED_AFTER: TimeDelta = TimeDelta::days(14);

/// What follows from holding a file against the last good one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileComparison {
    /// What to tell.
    pub findings: Vec<Finding>,
    /// What is only worth a line in the log.
    pub remark: Option<String>,
    /// What the next file is held against.
    pub keep: FileProfile,
}

/// Holds a file against the last good one. `shrunk_since` says since when files have been smaller
/// than that, if they have.
pub fn compare(
    readings: &Readings,
    profile: FileProfile,
    last: Option<&FileProfile>,
    binding: &Binding,
    shrunk_since: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> FileComparison {
    let Some(last) = last else {
        return FileComparison {
            keep: profile,
            ..FileComparison::default()
        };
    };
    let mut comparison = FileComparison::default();
    match header_change(&last.header, &profile.header, binding) {
        HeaderChange::None => {}
        HeaderChange::Added(names) => comparison.remark = Some(format!("new columns: {names}")),
        HeaderChange::Other(what) => comparison.findings.push(Finding {
            trouble: Trouble::Header,
            what,
        }),
    }
    let back = went_back(&profile, last);
    let settled = shrunk_since.is_some_and(|since| now - since >= SETTLED_AFTER)
        && back.is_none()
        && profile.newest > last.newest;
    let shrunk = shrunk(readings, &profile, last).filter(|_| !settled);
    comparison.keep = if back.is_some() || shrunk.is_some() {
        FileProfile {
            header: profile.header,
            ..last.clone()
        }
    } else {
        profile
    };
    comparison.findings.extend(back.into_iter().chain(shrunk));
    comparison
}

fn went_back(profile: &FileProfile, last: &FileProfile) -> Option<Finding> {
    let before = last.newest?;
    if profile
        .newest
        .is_some_and(|newest| (before - newest).num_days() <= BACK_DAYS)
    {
        return None;
    }
    let now = match profile.newest {
        Some(newest) => format!("The file's newest whole day is {}", full_date(newest)),
        None => "The file holds no whole day".to_owned(),
    };
    Some(Finding {
        trouble: Trouble::WentBack,
        what: format!(
            "{now} ({}); the last good one {}.",
            size(profile),
            reach(last)
        ),
    })
}

/// A file is smaller if days are gone that neither a moving window nor its end explains.
fn shrunk(readings: &Readings, profile: &FileProfile, last: &FileProfile) -> Option<Finding> {
    let (first, newest) = (profile.first?, profile.newest?);
    let (old_first, old_newest) = (last.first?, last.newest?);
    let anew = (newest - first).num_days() < NEW_PERIOD_DAYS || first > old_newest;
    if first.day() == 1 && first > old_first && anew {
        return None;
    }
    let advanced = (newest - old_newest).num_days().max(0);
    let moved = (first - old_first).num_days();
    let window = if (0..=advanced + FEW_DAYS).contains(&moved) {
        moved
    } else {
        0
    };
    let gone_at_end = (old_newest - newest).num_days().max(0);
    let still = whole_days(readings)
        .take_while(|day| *day <= old_newest)
        .count() as i64;
    let gone = last.days as i64 - still - window - gone_at_end;
    (gone > FEW_DAYS).then(|| Finding {
        trouble: Trouble::Shrunk,
        what: format!(
            "{gone} days are gone from the file: it holds {} from {} to {}; the last good one {}.",
            size(profile),
            full_date(first),
            full_date(newest),
            reach(last)
        ),
    })
}

fn size(profile: &FileProfile) -> String {
    format!("{} whole days in {} rows", profile.days, profile.rows)
}

fn reach(last: &FileProfile) -> String {
    let newest = last.newest.map_or("no day".to_owned(), full_date);
    format!("reached {newest} with {}", size(last))
}
