//! What people were told in a season, from what is kept of it.

use super::milestone_review::Foretelling;
use crate::domain::journal::{Entry, JournalAction};
use crate::domain::phenology::season::Season;
use crate::domain::telling::milestone_decision::Recorded;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog, WateringStep};
use crate::domain::treatment::steps::Step;
use chrono::{Datelike, NaiveDate};
use std::collections::HashMap;

/// Something that people were told.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// When.
    pub on: NaiveDate,
    /// What.
    pub what: SentNotice,
}

/// What people were told; species and options by their names.
#[derive(Debug, Clone, PartialEq)]
pub enum SentNotice {
    /// A milestone was foretold.
    Foretold {
        /// Of which species.
        species: String,
        /// What was told.
        notice: Foretelling,
    },
    /// A milestone was told as passed.
    Passed {
        /// Of which species.
        species: String,
        /// What was recorded.
        recorded: Recorded,
    },
    /// A treatment step was due.
    Treatment {
        /// With what.
        option: String,
        /// Which step.
        step: Step,
        /// The day it was about.
        due: Option<NaiveDate>,
    },
    /// It was time to count.
    Count,
    /// What was told of treatments no longer held, or no option was left for a harmful count.
    Overtaken {
        /// Whether no option was left.
        nothing_left: bool,
    },
    /// How an application stood with its water.
    Water {
        /// The application's number in the journal.
        number: i64,
        /// What was spread; `None` if the entry was taken back since.
        option: Option<String>,
        /// Which step.
        step: WateringStep,
        /// The day by which it had to be in.
        due: Option<NaiveDate>,
    },
}

/// What was told of a site's treatments and of counting, by the log of its season. A step that was told
/// anew appears with its last day only.
pub fn told_of_treatments(log: &NoticeLog, option_name: impl Fn(&str) -> String) -> Vec<Told> {
    let notices = log.notices();
    let is_last = |place: usize, notice: &LoggedNotice| {
        let mut later = notices[place + 1..].iter();
        !later.any(|later| later.kind == notice.kind && later.option == notice.option)
    };
    let mut last: Vec<&LoggedNotice> = notices
        .iter()
        .enumerate()
        .filter(|(place, notice)| is_last(*place, notice))
        .map(|(_, notice)| notice)
        .collect();
    // What was told at once stands in the order of its names.
    last.sort_by_key(|notice| {
        let name = notice.kind.name();
        let subject = notice.option.as_deref().unwrap_or(name);
        (notice.told_at, subject, name)
    });
    last.into_iter()
        .filter_map(|notice| {
            let what = match notice.kind {
                LoggedKind::Step(step) => SentNotice::Treatment {
                    option: option_name(notice.option.as_deref()?),
                    step,
                    due: notice.due,
                },
                LoggedKind::CountNow => SentNotice::Count,
                LoggedKind::NothingLeft | LoggedKind::HoldBack => SentNotice::Overtaken {
                    nothing_left: notice.kind == LoggedKind::NothingLeft,
                },
                LoggedKind::SeasonLetter
                | LoggedKind::Soon(_)
                | LoggedKind::Counted
                | LoggedKind::Watering(_)
                | LoggedKind::Held
                | LoggedKind::Released
                | LoggedKind::Stale
                | LoggedKind::Fresh => return None,
            };
            let on = notice.told_at.date_naive();
            Some(Told { on, what })
        })
        .collect()
}

/// What was told of the water of a season's applications, by the log of the site; `entries` are the
/// journal's by their first numbers.
pub fn told_of_watering(
    log: &NoticeLog,
    entries: &HashMap<i64, &Entry>,
    season: &Season,
    option_name: impl Fn(&str) -> String,
) -> Vec<Told> {
    let years = season.start.year()..=season.end.year();
    log.notices()
        .iter()
        .filter(|notice| notice.season.is_some_and(|year| years.contains(&year)))
        .filter_map(|notice| {
            let LoggedKind::Watering(step) = notice.kind else {
                return None;
            };
            let first = notice.journal_entry?;
            let on = notice.told_at.date_naive();
            let entry = entries.get(&first);
            let spread_on = entry.map_or(on, |entry| entry.day);
            if !(season.start..=season.end).contains(&spread_on) {
                return None;
            }
            let option = entry.and_then(|entry| match &entry.action {
                JournalAction::Application(spread) => Some(option_name(&spread.option)),
                _ => None,
            });
            Some(Told {
                on,
                what: SentNotice::Water {
                    number: entry.map_or(first, |entry| entry.number),
                    option,
                    step,
                    due: notice.due,
                },
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::journal::Application;
    use crate::domain::phenology::season::MonthDay;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn logged(kind: LoggedKind, option: Option<&str>, on: &str) -> LoggedNotice {
        let now = day(on).and_hms_opt(6, 0, 0).unwrap().and_utc();
        LoggedNotice {
            option: option.map(str::to_owned),
            due: Some(day(on)),
            ..LoggedNotice::of_site(kind, "lawn", now)
        }
    }

    #[test]
    fn a_step_told_anew_appears_once_and_what_was_told_at_once_stands_by_its_names() {
        let last_call = LoggedKind::Step(Step::LastCall);
        let log = NoticeLog::new(vec![
            logged(last_call, Some("diamide"), "2026-05-20"),
            logged(last_call, Some("imidacloprid"), "2026-06-03"),
            logged(LoggedKind::Held, None, "2026-06-03"),
            logged(LoggedKind::CountNow, None, "2026-06-03"),
            logged(last_call, Some("diamide"), "2026-06-04"),
        ]);
        let told = told_of_treatments(&log, str::to_uppercase);
        let words: Vec<String> = told
            .iter()
            .map(|one| match &one.what {
                SentNotice::Treatment { option, .. } => format!("{} {option}", one.on),
                SentNotice::Count => format!("{} count", one.on),
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(
            words,
            [
                "2026-06-03 count",
                "2026-06-03 IMIDACLOPRID",
                "2026-06-04 DIAMIDE"
            ]
        );
    }

    #[test]
    fn water_is_told_of_the_entry_as_it_stands_in_the_season_of_its_day() {
        let water = |entry, on| LoggedNotice {
            season: Some(2026),
            journal_entry: Some(entry),
            ..logged(LoggedKind::Watering(WateringStep::Due), None, on)
        };
        let log = NoticeLog::new(vec![
            water(3, "2026-06-10"),
            water(4, "2026-06-12"),
            water(5, "2026-06-14"),
        ]);
        let edited = |number, on| Entry {
            number,
            site: "lawn".into(),
            day: day(on),
            action: JournalAction::Application(Application {
                option: "imidacloprid".into(),
                area: "450 m2".parse().unwrap(),
                rate: None,
                most_a_season: None,
                record: Default::default(),
            }),
            remark: None,
        };
        let (third, fourth) = (edited(9, "2026-06-09"), edited(4, "2025-06-11"));
        let entries = HashMap::from([(3, &third), (4, &fourth)]);
        let season = Season::starting_in(2026, MonthDay::parse("01-01").unwrap());
        let told = told_of_watering(&log, &entries, &season, str::to_owned);
        let seen: Vec<(i64, Option<&str>)> = told
            .iter()
            .map(|one| match &one.what {
                SentNotice::Water { number, option, .. } => (*number, option.as_deref()),
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(seen, [(9, Some("imidacloprid")), (5, None)]);
    }
}
