//! A species in a season: when its milestones were told and came, and what must be known beside.

use super::counts::{count_notes, count_rows};
use crate::domain::look_back::{
    Foretelling, HatchSpan, Held, LookBack, MilestoneReview, OfSpecies,
};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::PassedBy;
use crate::report::words::{day_month, days, short_day, whole_day};
use chrono::NaiveDate;

/// The heads of the columns of dates.
pub const DATES: [&str; 8] = [
    "milestone",
    "first told",
    "range told",
    "likely day told",
    "came",
    "against the range",
    "against the likely day",
    "warning",
];

/// A species of the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpeciesReport {
    /// Its name.
    pub name: String,
    /// A row for each milestone, under [`DATES`].
    pub dates: Vec<[String; 8]>,
    /// What must be known beside the dates.
    pub notes: Vec<String>,
    /// A row for each count, under [`COUNTS`](super::COUNTS).
    pub counts: Vec<[String; 4]>,
    /// What the turf bears, and how counts changed.
    pub count_notes: Vec<String>,
}

impl SpeciesReport {
    pub(super) fn of(species: &OfSpecies, season: &LookBack) -> Self {
        let rows = species.milestones.iter();
        Self {
            name: species.name.clone(),
            dates: rows
                .map(|one| dates(one, species, season.is_over))
                .collect(),
            notes: notes(species, season.season.end),
            counts: count_rows(&species.counts),
            count_notes: count_notes(species),
        }
    }
}

/// The row of a milestone.
fn dates(one: &MilestoneReview, species: &OfSpecies, is_over: bool) -> [String; 8] {
    let none = || "–".to_owned();
    let when = came(one, species, is_over);
    let title = one.milestone.short_title().to_owned();
    let Some(first) = one.first() else {
        return [title, none(), none(), none(), when, none(), none(), none()];
    };
    let against = |words: &dyn Fn(NaiveDate) -> String| one.came_by_sum().map_or_else(none, words);
    [
        title,
        short_day(first.told_on),
        range_in(first, short_day).unwrap_or_else(|| "not kept".to_owned()),
        short_day(first.likely),
        when,
        against(&|came| first.held(came).map_or_else(none, held)),
        against(&|came| off(first.late_by_days(came))),
        against(&|came| days(first.warning_days(came))),
    ]
}

/// "29 June to 16 July"; `None` if the notice kept no range.
pub(super) fn range(notice: &Foretelling) -> Option<String> {
    range_in(notice, day_month)
}

/// The same with days in another form.
fn range_in(notice: &Foretelling, form: fn(NaiveDate) -> String) -> Option<String> {
    let early = form(notice.early?);
    Some(match notice.late {
        Some(late) => format!("{early} to {}", form(late)),
        None => format!("{early} or later"),
    })
}

/// How the day that came lay to a range.
fn held(held: Held) -> String {
    match held {
        Held::Inside => "inside it".to_owned(),
        Held::Before(early) => format!("{} before it", days(early)),
        Held::After(late) => format!("{} after it", days(late)),
    }
}

/// How the day that came lay to the likely day.
fn off(late_by_days: i64) -> String {
    match late_by_days {
        0 => "on the day".to_owned(),
        late if late > 0 => format!("{} later", days(late)),
        early => format!("{} earlier", days(early)),
    }
}

/// When a milestone came.
fn came(review: &MilestoneReview, species: &OfSpecies, is_over: bool) -> String {
    match (review.came, review.by) {
        (Some(on), Some(PassedBy::Sum)) => short_day(on),
        (Some(on), _) => format!("by date, {}", short_day(on)),
        (None, _) if species.is_held => "not known".to_owned(),
        (None, _) if is_over => "did not come".to_owned(),
        (None, _) => "not yet".to_owned(),
    }
}

/// How the hatch went, in a sentence.
pub(super) fn hatch_in_short(species: &OfSpecies, is_over: bool) -> String {
    let name = &species.name;
    let Some(hatch) = species.milestone(Milestone::Hatch) else {
        return String::new();
    };
    let Some(came) = hatch.came else {
        return match (species.is_held, is_over) {
            (true, _) => format!(
                "{name}: days of the season are missing, so whether and when larvae hatched is not known."
            ),
            (false, true) => {
                format!("{name}: by the temperature sum hatch never came this season.")
            }
            (false, false) => format!("{name}: by the temperature sum hatch has not come yet."),
        };
    };
    let came_on = format!(
        "{name}: hatch came on {} by the temperature sum",
        day_month(came)
    );
    let Some(first) = hatch.first() else {
        return format!("{came_on}; no early notice of it is on record.");
    };
    let warning = days(first.warning_days(came));
    match (range(first), first.held(came)) {
        (Some(range), Some(Held::Inside)) => {
            format!("{came_on}, inside the range told {warning} before ({range}).")
        }
        (Some(range), Some(Held::Before(early))) => format!(
            "{came_on}, {} before the range told {warning} ahead ({range}).",
            days(early)
        ),
        (Some(range), Some(Held::After(late))) => format!(
            "{came_on}, {} after the range told {warning} ahead ({range}).",
            days(late)
        ),
        _ => format!(
            "{came_on}; {} had been told as likely {warning} before.",
            day_month(first.likely)
        ),
    }
}

/// When larvae hatched.
fn hatch_span(span: &HatchSpan, is_settled: bool) -> String {
    let most = match span.most {
        Some(most) => format!("and 19 in 20 by {}", day_month(most)),
        None => "and the last of them not before the date by which they are gone".to_owned(),
    };
    let how = if is_settled {
        "By the model"
    } else {
        "By the model, from the days so far and the outlook,"
    };
    format!(
        "{how} 1 in 20 larvae has hatched by {}, half by {} {most}.",
        day_month(span.first),
        day_month(span.half)
    )
}

/// What people must know of a species beside its dates.
fn notes(species: &OfSpecies, season_end: NaiveDate) -> Vec<String> {
    let mut notes = Vec::new();
    match species.watched_from {
        Some(from) if from <= season_end => {
            let unseen = |one: &MilestoneReview| one.came.is_some_and(|came| came <= from);
            if species.milestones.iter().any(unseen) {
                notes.push(format!(
                    "It is watched since {}; what came up to that day was not told.",
                    whole_day(from)
                ));
            }
        }
        _ => notes.push("It was not watched in this season: nothing was told, and the dates are worked out from stored temperatures.".to_owned()),
    }
    if species.is_held {
        notes.push(
            "Days are missing or too many are estimated, so some milestones were held back."
                .to_owned(),
        );
    }
    for announced in species.milestones.iter().filter_map(|one| one.announced) {
        let recorded = announced.recorded;
        let title = recorded.milestone.title();
        if recorded.withdrawn {
            notes.push(format!(
                "The {title} told for {} was taken back.",
                day_month(recorded.on)
            ));
        } else if let Some(to) = recorded.corrected_to {
            notes.push(format!(
                "The {title} told for {} was corrected to {}.",
                day_month(recorded.on),
                day_month(to)
            ));
        }
    }
    match &species.hatch {
        Ok(span) => notes.push(hatch_span(span, species.is_settled)),
        Err(why) => notes.push(format!("When larvae hatched is not known: {why}.")),
    }
    if let Some(first) = species.catches.first() {
        notes.push(format!(
            "Adults were first caught or seen on {}; the thresholds are moved by it.",
            day_month(*first)
        ));
    }
    notes
}
