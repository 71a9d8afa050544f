//! What people were told of a site, oldest first: what keeps a notice from being told twice.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::treatment::steps::{Step, ToldStep};
use chrono::{DateTime, NaiveDate, Utc};

/// What a notice was about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoggedKind {
    /// A step of an option.
    Step(Step),
    /// A count calls for a curative, and nothing that the site would use works.
    NothingLeft,
    /// What was told of treatments no longer holds.
    HoldBack,
    /// The milestones of the season ahead.
    SeasonLetter,
    /// A milestone that was likely within two weeks.
    Soon(Milestone),
    /// It is time to count.
    CountNow,
    /// What a count comes to.
    Counted,
    /// How an application stands with its water.
    Watering(WateringStep),
    /// Milestones are held back.
    Held,
    /// They no longer are.
    Released,
    /// No new days arrive.
    Stale,
    /// They arrive again.
    Fresh,
}

impl LoggedKind {
    /// Every kind with the name it has in the store.
    pub const NAMED: [(&'static str, LoggedKind); 21] = [
        ("opens", LoggedKind::Step(Step::Opens)),
        ("best-ahead", LoggedKind::Step(Step::BestAhead)),
        ("last-call", LoggedKind::Step(Step::LastCall)),
        ("too-late", LoggedKind::Step(Step::TooLate)),
        ("nothing-left", LoggedKind::NothingLeft),
        ("hold-back", LoggedKind::HoldBack),
        ("season-letter", LoggedKind::SeasonLetter),
        (
            "soon-adult-flight",
            LoggedKind::Soon(Milestone::AdultFlight),
        ),
        ("soon-egg-lay", LoggedKind::Soon(Milestone::EggLay)),
        ("soon-hatch", LoggedKind::Soon(Milestone::Hatch)),
        ("soon-window-end", LoggedKind::Soon(Milestone::WindowEnd)),
        ("counting", LoggedKind::CountNow),
        ("counted", LoggedKind::Counted),
        ("water-due", LoggedKind::Watering(WateringStep::Due)),
        ("water-done", LoggedKind::Watering(WateringStep::Done)),
        ("water-missed", LoggedKind::Watering(WateringStep::Missed)),
        (
            "water-lacking-again",
            LoggedKind::Watering(WateringStep::LackingAgain),
        ),
        ("held", LoggedKind::Held),
        ("released", LoggedKind::Released),
        ("stale", LoggedKind::Stale),
        ("fresh", LoggedKind::Fresh),
    ];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The kind a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }
}

/// What people are told of an application's water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WateringStep {
    /// It lacks water and there is time.
    Due,
    /// It had enough.
    Done,
    /// The deadline is over and it had too little.
    Missed,
    /// Water that was told of as enough has been taken back.
    LackingAgain,
}

/// One notice as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoggedNotice {
    /// What it was about.
    pub kind: LoggedKind,
    /// The site's identifier.
    pub site: String,
    /// The species' identifier; `None` where it was about the site as a whole.
    pub species: Option<String>,
    /// The year the season starts in, or that of an application's day; `None` where it was about
    /// no season.
    pub season: Option<i32>,
    /// The option's identifier.
    pub option: Option<String>,
    /// The first number of the application's journal entry, which it keeps when it is edited.
    pub journal_entry: Option<i64>,
    /// The day it was about.
    pub due: Option<NaiveDate>,
    /// When it was told.
    pub told_at: DateTime<Utc>,
}

impl LoggedNotice {
    /// A notice about a site as a whole.
    pub fn of_site(kind: LoggedKind, site: &str, told_at: DateTime<Utc>) -> Self {
        Self {
            kind,
            site: site.to_owned(),
            species: None,
            season: None,
            option: None,
            journal_entry: None,
            due: None,
            told_at,
        }
    }

    fn step(&self) -> Option<Step> {
        match self.kind {
            LoggedKind::Step(step) => Some(step),
            _ => None,
        }
    }
}

/// What was told of one site and species in a season, or of one site as a whole; in the order in
/// which it was told.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct NoticeLog {
    notices: Vec<LoggedNotice>,
}

impl NoticeLog {
    /// A log of notices in the order in which they were told.
    pub fn new(notices: Vec<LoggedNotice>) -> Self {
        Self { notices }
    }

    /// Every notice, in the order in which they were told.
    pub fn notices(&self) -> &[LoggedNotice] {
        &self.notices
    }

    /// Whether such a notice was told.
    pub fn has(&self, kind: LoggedKind) -> bool {
        self.notices.iter().any(|told| told.kind == kind)
    }

    /// The day that the last such notice was about.
    pub fn last_due(&self, kind: LoggedKind) -> Option<NaiveDate> {
        self.notices.iter().rfind(|told| told.kind == kind)?.due
    }

    /// The last step that was told of an option.
    pub fn last_step(&self, option: &str) -> Option<ToldStep> {
        let of = |told: &&LoggedNotice| told.option.as_deref() == Some(option);
        self.notices.iter().rev().filter(of).find_map(|told| {
            Some(ToldStep {
                step: told.step()?,
                due: told.due?,
            })
        })
    }

    /// The last notice of each option, of those told since advice was last taken back.
    pub fn open_steps(&self) -> Vec<&LoggedNotice> {
        let since = self
            .notices
            .iter()
            .rposition(|told| told.kind == LoggedKind::HoldBack)
            .map_or(0, |last| last + 1);
        let steps = || {
            let since = self.notices[since..].iter();
            since.filter(|told| told.step().is_some())
        };
        steps()
            .enumerate()
            .filter(|(place, told)| {
                let mut later = steps().skip(place + 1);
                !later.any(|later| later.option == told.option)
            })
            .map(|(_, told)| told)
            .collect()
    }

    /// What was told of an application's water.
    pub fn watering_steps(&self, journal_entry: i64) -> Vec<WateringStep> {
        self.notices
            .iter()
            .filter(|told| told.journal_entry == Some(journal_entry))
            .filter_map(|told| match told.kind {
                LoggedKind::Watering(step) => Some(step),
                _ => None,
            })
            .collect()
    }

    /// Whether people know that milestones are held back.
    pub fn is_held(&self) -> bool {
        self.last_of(&[LoggedKind::Held, LoggedKind::Released]) == Some(LoggedKind::Held)
    }

    /// Whether people know that no new days arrive.
    pub fn is_stale(&self) -> bool {
        self.last_of(&[LoggedKind::Stale, LoggedKind::Fresh]) == Some(LoggedKind::Stale)
    }

    fn last_of(&self, kinds: &[LoggedKind]) -> Option<LoggedKind> {
        let mut told = self.notices.iter().rev().map(|told| told.kind);
        told.find(|kind| kinds.contains(kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(kind: LoggedKind, option: Option<&str>, on: &str) -> LoggedNotice {
        let due: NaiveDate = on.parse().unwrap();
        LoggedNotice {
            option: option.map(str::to_owned),
            due: Some(due),
            ..LoggedNotice::of_site(kind, "lawn", due.and_hms_opt(6, 0, 0).unwrap().and_utc())
        }
    }

    fn step(step: Step, option: &str, on: &str) -> LoggedNotice {
        told(LoggedKind::Step(step), Some(option), on)
    }

    #[test]
    fn every_kind_has_a_name_of_its_own_and_is_found_by_it() {
        for (name, kind) in LoggedKind::NAMED {
            assert_eq!(LoggedKind::from_name(name), Some(kind));
            assert_eq!(kind.name(), name);
        }
    }

    #[test]
    fn the_last_step_told_of_an_option_is_the_one_that_counts() {
        let log = NoticeLog::new(vec![
            step(Step::LastCall, "diamide", "2026-05-20"),
            step(Step::TooLate, "diamide", "2026-05-27"),
            step(Step::LastCall, "diamide", "2026-06-03"),
            step(Step::Opens, "imidacloprid", "2026-06-04"),
        ]);
        let last = log.last_step("diamide").unwrap();
        assert_eq!(
            (last.step, last.due.to_string()),
            (Step::LastCall, "2026-06-03".to_owned())
        );
        assert_eq!(log.last_step("imidacloprid").unwrap().step, Step::Opens);
        assert_eq!(log.last_step("trichlorfon"), None);
    }

    #[test]
    fn advice_that_was_taken_back_is_not_open_any_more() {
        let mut notices = vec![
            step(Step::Opens, "diamide", "2026-05-01"),
            step(Step::BestAhead, "diamide", "2026-05-10"),
            step(Step::Opens, "imidacloprid", "2026-05-11"),
        ];
        let kinds = |notices: &[LoggedNotice]| -> Vec<LoggedKind> {
            let log = NoticeLog::new(notices.to_vec());
            log.open_steps().iter().map(|told| told.kind).collect()
        };
        let (best, opens) = (
            LoggedKind::Step(Step::BestAhead),
            LoggedKind::Step(Step::Opens),
        );
        assert_eq!(kinds(&notices), [best, opens]);
        notices.push(told(LoggedKind::HoldBack, None, "2026-05-20"));
        assert_eq!(kinds(&notices), []);
        notices.push(step(Step::LastCall, "diamide", "2026-05-25"));
        assert_eq!(kinds(&notices), [LoggedKind::Step(Step::LastCall)]);
    }

    #[test]
    fn a_hold_or_a_silence_lasts_until_its_end_is_told() {
        let of = |kinds: &[LoggedKind]| {
            let notices = kinds.iter().map(|kind| told(*kind, None, "2026-05-01"));
            NoticeLog::new(notices.collect())
        };
        assert!(!of(&[]).is_held() && !of(&[]).is_stale());
        let both = of(&[LoggedKind::Held, LoggedKind::Stale]);
        assert!(both.is_held() && both.is_stale());
        let over = of(&[LoggedKind::Held, LoggedKind::Stale, LoggedKind::Released]);
        assert!(!over.is_held() && over.is_stale());
        let again = of(&[LoggedKind::Stale, LoggedKind::Fresh, LoggedKind::Stale]);
        assert!(again.is_stale());
    }
}
