//! What to tell of treatments: steps of options that are due, that nothing is left for a harmful
//! count, or that what was told no longer holds.

use crate::domain::telling::notice::Instead;
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, NoticeLog};
use crate::domain::treatment::need::{Need, Reason};
use crate::domain::treatment::planned::Planned;
use crate::domain::treatment::site_plan::SitePlan;
use crate::domain::treatment::steps::{Advice, Step, StepsToday, advise};
use chrono::{DateTime, NaiveDate, Utc};

/// Advice older than this is not taken back any more, days.
const TAKEN_BACK_DAYS: i64 = 30;

/// What there is to tell of treatments.
#[derive(Debug, Clone, PartialEq)]
pub enum TreatmentDecision {
    /// Steps are due, or nothing is left.
    Advise {
        /// The steps, the option that meets most first.
        advice: Vec<Advice>,
        /// Whether it has to be told that no option is left for a harmful count.
        is_nothing_left: bool,
        /// Options of the site's choice that are still in time.
        instead: Vec<Instead>,
    },
    /// What was told no longer holds.
    TakeBack,
}

impl TreatmentDecision {
    /// What to keep of it: it is about the site as a whole, in the season that starts in a year.
    pub fn logged(&self, site: &str, season: i32, now: DateTime<Utc>) -> Vec<LoggedNotice> {
        let logged = |kind| LoggedNotice {
            season: Some(season),
            ..LoggedNotice::of_site(kind, site, now)
        };
        match self {
            TreatmentDecision::Advise {
                advice,
                is_nothing_left,
                ..
            } => advice
                .iter()
                .map(|one| LoggedNotice {
                    option: Some(one.option.id.clone()),
                    due: Some(one.due()),
                    ..logged(LoggedKind::Step(one.step))
                })
                .chain(is_nothing_left.then(|| logged(LoggedKind::NothingLeft)))
                .collect(),
            TreatmentDecision::TakeBack => vec![logged(LoggedKind::HoldBack)],
        }
    }

    /// The steps that are due and the options still in time.
    pub fn into_advice(self) -> (Vec<Advice>, Vec<Instead>) {
        match self {
            TreatmentDecision::Advise {
                advice, instead, ..
            } => (advice, instead),
            TreatmentDecision::TakeBack => (Vec::new(), Vec::new()),
        }
    }
}

/// Decides what to tell of treatments at a site by its plan; `log` is what was told of the site in the
/// season, `elsewhere` what is told today of other sites of the same people.
pub fn treatment_decision(
    plan: &SitePlan<'_>,
    log: &NoticeLog,
    elsewhere: &StepsToday,
) -> Option<TreatmentDecision> {
    let need = &plan.need.need;
    if !plan.has_dates() || need.purpose().is_none() {
        return is_overtaken(log, need, plan.day).then_some(TreatmentDecision::TakeBack);
    }
    let advice = advise(plan, |option| log.last_step(option), elsewhere);
    let planned: Vec<&Planned<'_>> = plan.options.iter().map(|one| &one.planned).collect();
    let is_nothing_left = is_nothing_left(&planned, need, log, plan.day);
    (!advice.is_empty() || is_nothing_left).then(|| TreatmentDecision::Advise {
        advice,
        is_nothing_left,
        instead: in_time(plan.options.iter().map(|one| &one.planned), plan.day),
    })
}

/// Whether a count calls for a curative, nothing works any more, and nobody was told so.
fn is_nothing_left(
    ranked: &[&Planned<'_>],
    need: &Need,
    log: &NoticeLog,
    today: NaiveDate,
) -> bool {
    matches!(need, Need::Curative { .. })
        && !ranked.iter().any(|planned| planned.in_time(today))
        && !log.has(LoggedKind::NothingLeft)
}

/// The options that are still in time, with their days.
pub fn in_time<'p>(
    planned: impl Iterator<Item = &'p Planned<'p>>,
    today: NaiveDate,
) -> Vec<Instead> {
    planned
        .filter(|planned| planned.in_time(today))
        .map(|planned| Instead {
            name: planned.option.name.clone(),
            window: planned.window,
        })
        .collect()
}

/// Whether people were told to treat with something that is not too late, and a count or a correction
/// since then says otherwise. That they did treat is no reason to write to them.
fn is_overtaken(log: &NoticeLog, need: &Need, today: NaiveDate) -> bool {
    if need.purpose().is_some() || matches!(need, Need::Nothing(Reason::Treated { .. })) {
        return false;
    }
    log.open_steps().iter().any(|told| {
        let days_ago = (today - told.told_at.date_naive()).num_days();
        told.kind != LoggedKind::Step(Step::TooLate) && days_ago <= TAKEN_BACK_DAYS
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::treatment::need::Ground;

    const BELOW: Need = Need::Nothing(Reason::CountedBelow { mean_per_m2: 20.0 });

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn logged(kind: LoggedKind, on: &str) -> LoggedNotice {
        LoggedNotice {
            option: matches!(kind, LoggedKind::Step(_)).then(|| "trichlorfon".to_owned()),
            ..LoggedNotice::of_site(
                kind,
                "lawn",
                day(on).and_hms_opt(6, 0, 0).unwrap().and_utc(),
            )
        }
    }

    fn overtaken(notices: &[(LoggedKind, &str)], need: &Need, today: &str) -> bool {
        let notices = notices.iter().map(|(kind, on)| logged(*kind, on));
        is_overtaken(&NoticeLog::new(notices.collect()), need, day(today))
    }

    const OPENS: LoggedKind = LoggedKind::Step(Step::Opens);
    const TOO_LATE: LoggedKind = LoggedKind::Step(Step::TooLate);

    #[test]
    fn advice_is_taken_back_for_thirty_days_after_it_was_told() {
        let told = [(OPENS, "2026-08-01")];
        assert!(overtaken(&told, &BELOW, "2026-08-02"));
        assert!(overtaken(&told, &BELOW, "2026-08-31"));
        assert!(!overtaken(&told, &BELOW, "2026-09-01"));
    }

    #[test]
    fn advice_is_taken_back_once_and_again_only_after_it_was_given_again() {
        let (opens, back) = ((OPENS, "2026-08-01"), (LoggedKind::HoldBack, "2026-08-03"));
        assert!(!overtaken(&[opens, back], &BELOW, "2026-08-04"));
        let again = (LoggedKind::Step(Step::LastCall), "2026-08-10");
        assert!(overtaken(&[opens, back, again], &BELOW, "2026-08-11"));
    }

    #[test]
    fn nothing_is_taken_back_that_is_too_late_was_followed_or_still_holds() {
        let too_late = [(OPENS, "2026-08-01"), (TOO_LATE, "2026-08-10")];
        assert!(!overtaken(&too_late, &BELOW, "2026-08-11"));
        let told = [(OPENS, "2026-08-01")];
        let treated = Need::Nothing(Reason::Treated {
            on: day("2026-08-02"),
        });
        assert!(!overtaken(&told, &treated, "2026-08-03"));
        let wanted = Need::Preventive(Ground::LastYear);
        assert!(!overtaken(&told, &wanted, "2026-08-03"));
        assert!(!overtaken(&[], &BELOW, "2026-08-03"));
    }

    #[test]
    fn that_nothing_is_left_for_a_harmful_count_is_told_once() {
        let count = Need::Curative {
            mean_per_m2: 400.0,
            counted_on: day("2026-10-01"),
            together: None,
        };
        let (empty, today) = (NoticeLog::default(), day("2026-10-02"));
        assert!(is_nothing_left(&[], &count, &empty, today));
        let told = NoticeLog::new(vec![logged(LoggedKind::NothingLeft, "2026-10-01")]);
        assert!(!is_nothing_left(&[], &count, &told, today));
        let preventive = Need::Preventive(Ground::LastYear);
        assert!(!is_nothing_left(&[], &preventive, &empty, today));
    }
}
