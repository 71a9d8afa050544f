//! What is due at a site, as scripts and people read it.

use crate::domain::notation::Notation;
use crate::domain::phenology::season_state::Hold;
use crate::domain::treatment::due::{Due, Idle, NextDay, Urgency};
use crate::report::words::counted;
use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

/// What is due at a site.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DueStatus {
    /// What, by its name for scripts.
    pub what: &'static str,
    /// The option to apply or to water in, by its id.
    pub option: Option<String>,
    /// The last day for it.
    pub by: Option<NaiveDate>,
    /// The day since which it is due, or from which it will be.
    pub since: Option<NaiveDate>,
    /// All of it in words.
    pub words: String,
    /// How much it presses.
    #[serde(skip)]
    pub urgency: Urgency,
    /// The day of the milestone that comes next, where nothing is to be done.
    #[serde(skip)]
    next: Option<NaiveDate>,
}

impl DueStatus {
    pub(super) fn of(due: &Due<'_>, today: NaiveDate, notation: &Notation) -> Self {
        let urgency = due.urgency();
        Self {
            what: urgency.name(),
            option: due.option().map(|option| option.id.clone()),
            by: due.by(),
            since: due.since(),
            words: words(due, today, notation),
            urgency,
            next: match due {
                Due::Nothing { next, .. } => next.and_then(|next| next.likely),
                _ => None,
            },
        }
    }

    /// What sorts the sites, the worst first.
    pub fn rank(&self) -> (Urgency, NaiveDate) {
        (
            self.urgency,
            self.by.or(self.next).unwrap_or(NaiveDate::MAX),
        )
    }
}

fn words(due: &Due<'_>, today: NaiveDate, notation: &Notation) -> String {
    let urgency = due.urgency();
    match due {
        Due::Water { option, watering } => {
            let (name, by) = (&option.name, notation.short_day(watering.deadline));
            match urgency {
                Urgency::WaterOverdue => format!("water in {name} now (was due {by})"),
                _ if watering.deadline == today => format!("water in {name} today"),
                _ => format!("water in {name} by {by}"),
            }
        }
        Due::Apply { option, window, .. } => {
            let (name, last) = (&option.name, notation.short_day(window.last));
            let days = if urgency == Urgency::ApplyLater {
                format!("from {}", notation.short_day(window.first))
            } else if window.last == today {
                "today, the last day".to_owned()
            } else {
                format!("by {last}")
            };
            let best = if window.best > today && window.best != window.last {
                format!(" (best {})", notation.short_day(window.best))
            } else if urgency == Urgency::LastWeek && window.last > today {
                " (last week)".to_owned()
            } else {
                String::new()
            };
            format!("apply {name} {days}{best}")
        }
        Due::Count { days, again } => {
            let again = if *again { " again" } else { "" };
            format!("count grubs{again} by {}", notation.short_day(days.by))
        }
        Due::NothingLeft(_) => "counted above the limit; nothing works any more".to_owned(),
        Due::Held(hold) => format!("held: {}", held_briefly(*hold, notation)),
        Due::Nothing {
            idle: Idle::NoDays, ..
        } => idle_words(Idle::NoDays, notation),
        Due::Nothing { idle, next } => format!(
            "{}; {}",
            idle_words(*idle, notation),
            next_words(*next, notation)
        ),
    }
}

/// Why milestones are held back, where space is short.
fn held_briefly(hold: Hold, notation: &Notation) -> String {
    match hold {
        Hold::NoData => "no day of the season measured".to_owned(),
        Hold::Gap(gap) => format!(
            "{} missing, {} to {}",
            counted(gap.days().unsigned_abs() as usize, "day"),
            notation.short_day(gap.from),
            notation.short_day(gap.to)
        ),
        Hold::TooManyEstimated { estimated, limit } => {
            format!("{estimated} days estimated, {limit} allowed")
        }
    }
}

fn idle_words(idle: Idle, notation: &Notation) -> String {
    match idle {
        Idle::NotCalledFor => "nothing to apply".to_owned(),
        Idle::Treated(on) => format!("treated {}", notation.short_day(on)),
        Idle::CountedBelow => "counted below the limit".to_owned(),
        Idle::NoDates => "days to apply not known yet".to_owned(),
        Idle::TooLate => "too late to apply".to_owned(),
        Idle::NoDays => "no day of the season measured yet".to_owned(),
    }
}

fn next_words(next: Option<NextDay>, notation: &Notation) -> String {
    let Some(next) = next else {
        return "season over".to_owned();
    };
    let what = next.milestone.short_title();
    match next.likely {
        Some(day) if next.by_calendar => format!("{what} {}", notation.short_day(day)),
        Some(day) => format!("{what} about {}", notation.short_day(day)),
        None => format!("{what} not dated yet"),
    }
}
