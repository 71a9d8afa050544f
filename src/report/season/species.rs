//! A species in a season: when its milestones were told and came, and what must be known beside.

use super::counts::{count_notes, count_rows};
use crate::domain::look_back::{
    Foretelling, HatchSpan, Held, LookBack, MilestoneReview, OfSpecies,
};
use crate::domain::notation::Notation;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::PassedBy;
use crate::report::words::days;
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
    /// What the turf tolerates, and how counts changed.
    pub count_notes: Vec<String>,
}

impl SpeciesReport {
    pub(super) fn of(species: &OfSpecies, season: &LookBack, notation: &Notation) -> Self {
        let rows = species.milestones.iter();
        Self {
            name: species.name.clone(),
            dates: rows
                .map(|one| dates(one, species, season.is_over, notation))
                .collect(),
            notes: notes(species, season.season.end, notation),
            counts: count_rows(&species.counts, notation),
            count_notes: count_notes(species, notation),
        }
    }
}

/// The row of a milestone.
fn dates(
    one: &MilestoneReview,
    species: &OfSpecies,
    is_over: bool,
    notation: &Notation,
) -> [String; 8] {
    let none = || "–".to_owned();
    let when = came(one, species, is_over, notation);
    let title = one.milestone.short_title().to_owned();
    let Some(first) = one.first() else {
        return [title, none(), none(), none(), when, none(), none(), none()];
    };
    let against = |words: &dyn Fn(NaiveDate) -> String| one.came_by_sum().map_or_else(none, words);
    [
        title,
        notation.short_day(first.told_on),
        range_in(first, |day| notation.short_day(day)).unwrap_or_else(|| "not kept".to_owned()),
        notation.short_day(first.likely),
        when,
        against(&|came| first.held(came).map_or_else(none, held)),
        against(&|came| off(first.late_by_days(came))),
        against(&|came| days(first.warning_days(came))),
    ]
}

/// "29 June to 16 July"; `None` if the notice kept no range.
pub(super) fn range(notice: &Foretelling, notation: &Notation) -> Option<String> {
    range_in(notice, |day| notation.day(day))
}

/// The same with days in another form.
fn range_in(notice: &Foretelling, form: impl Fn(NaiveDate) -> String) -> Option<String> {
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
fn came(
    review: &MilestoneReview,
    species: &OfSpecies,
    is_over: bool,
    notation: &Notation,
) -> String {
    match (review.came, review.by) {
        (Some(on), Some(PassedBy::Sum)) => notation.short_day(on),
        (Some(on), _) => format!("{} (calendar)", notation.short_day(on)),
        (None, _) if species.is_held => "not known".to_owned(),
        (None, _) if is_over => "did not come".to_owned(),
        (None, _) => "not yet".to_owned(),
    }
}

/// How the hatch went, in a sentence.
pub(super) fn hatch_in_short(species: &OfSpecies, is_over: bool, notation: &Notation) -> String {
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
        notation.day(came)
    );
    let Some(first) = hatch.first() else {
        return format!("{came_on}; no early notice of it is on record.");
    };
    let warning = days(first.warning_days(came));
    match (range(first, notation), first.held(came)) {
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
            notation.day(first.likely)
        ),
    }
}

/// When larvae hatched.
fn hatch_span(span: &HatchSpan, is_settled: bool, notation: &Notation) -> String {
    let most = match span.most {
        Some(most) => format!("and 19 in 20 by {}", notation.day(most)),
        None => "and the last of them not before the date by which they are gone".to_owned(),
    };
    let how = if is_settled {
        "By the model"
    } else {
        "By the model, from the days so far and the outlook,"
    };
    format!(
        "{how} 1 in 20 larvae has hatched by {}, half by {} {most}.",
        notation.day(span.first),
        notation.day(span.half)
    )
}

/// What people must know of a species beside its dates.
fn notes(species: &OfSpecies, season_end: NaiveDate, notation: &Notation) -> Vec<String> {
    let mut notes = Vec::new();
    match species.watched_from {
        Some(from) if from <= season_end => {
            let unseen = |one: &MilestoneReview| one.came.is_some_and(|came| came <= from);
            if species.milestones.iter().any(unseen) {
                notes.push(format!(
                    "It is watched since {}; what came up to that day was not told.",
                    notation.day_and_year(from)
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
                notation.day(recorded.on)
            ));
        } else if let Some(to) = recorded.corrected_to {
            notes.push(format!(
                "The {title} told for {} was corrected to {}.",
                notation.day(recorded.on),
                notation.day(to)
            ));
        }
    }
    match &species.hatch {
        Ok(span) => notes.push(hatch_span(span, species.is_settled, notation)),
        Err(why) => notes.push(format!("When larvae hatched is not known: {why}.")),
    }
    if let Some(first) = species.catches.first() {
        notes.push(format!(
            "Adults were first caught or seen on {}; the thresholds are moved by it.",
            notation.day(*first)
        ));
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::look_back::Counts;
    use crate::domain::look_back::NotKnown;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn notice(early: Option<&str>, late: Option<&str>) -> Foretelling {
        Foretelling {
            told_on: day("2026-06-15"),
            milestone: Milestone::Hatch,
            lead_days: 30,
            likely: day("2026-07-10"),
            early: early.map(day),
            late: late.map(day),
        }
    }

    fn hatch(came: Option<&str>, foretold: Vec<Foretelling>) -> OfSpecies {
        OfSpecies {
            id: "beetle".to_owned(),
            name: "Beetle".to_owned(),
            data_through: None,
            watched_from: Some(day("2026-04-01")),
            is_held: false,
            milestones: vec![MilestoneReview {
                milestone: Milestone::Hatch,
                foretold,
                announced: None,
                came: came.map(day),
                by: came.map(|_| PassedBy::Sum),
            }],
            hatch: Err(NotKnown::NoneHatched),
            is_settled: true,
            catches: Vec::new(),
            tolerance: (80.0, 160.0),
            counts: Counts::default(),
        }
    }

    #[test]
    fn hatch_is_held_against_the_range_that_was_told_first() {
        let told = || vec![notice(Some("2026-07-01"), Some("2026-07-20"))];
        let said = |came| hatch_in_short(&hatch(Some(came), told()), true, &Notation::default());
        assert_eq!(
            said("2026-07-20"),
            "Beetle: hatch came on 20 July by the temperature sum, inside the range told 35 days before (1 July to 20 July)."
        );
        assert_eq!(
            said("2026-07-21"),
            "Beetle: hatch came on 21 July by the temperature sum, 1 day after the range told 36 days ahead (1 July to 20 July)."
        );
        assert_eq!(
            said("2026-06-29"),
            "Beetle: hatch came on 29 June by the temperature sum, 2 days before the range told 14 days ahead (1 July to 20 July)."
        );
    }

    #[test]
    fn hatch_is_told_of_where_no_range_was_kept_or_none_was_told() {
        let said = |notices| {
            hatch_in_short(
                &hatch(Some("2026-07-12"), notices),
                true,
                &Notation::default(),
            )
        };
        assert!(
            said(vec![notice(None, None)]).ends_with(
                "by the temperature sum; 10 July had been told as likely 27 days before."
            )
        );
        assert!(said(Vec::new()).ends_with("no early notice of it is on record."));
    }

    #[test]
    fn a_hatch_that_did_not_come_is_told_by_what_is_known() {
        let none = hatch(None, Vec::new());
        assert!(
            hatch_in_short(&none, true, &Notation::default())
                .ends_with("hatch never came this season.")
        );
        assert!(
            hatch_in_short(&none, false, &Notation::default()).ends_with("hatch has not come yet.")
        );
        let held = OfSpecies {
            is_held: true,
            ..none
        };
        assert!(
            hatch_in_short(&held, true, &Notation::default())
                .ends_with("whether and when larvae hatched is not known.")
        );
    }

    #[test]
    fn a_row_has_no_comparison_where_nothing_was_told() {
        let came = hatch(Some("2026-07-12"), Vec::new());
        let row = dates(&came.milestones[0], &came, true, &Notation::default());
        assert_eq!(row[1..], ["–", "–", "–", "12 Jul", "–", "–", "–"]);
    }

    #[test]
    fn a_row_holds_the_first_notice_against_the_day_that_came() {
        let told = vec![
            notice(Some("2026-07-01"), None),
            notice(Some("2026-07-15"), None),
        ];
        let came = hatch(Some("2026-07-12"), told);
        let row = dates(&came.milestones[0], &came, true, &Notation::default());
        let shown = [
            "15 Jun",
            "1 Jul or later",
            "10 Jul",
            "12 Jul",
            "inside it",
            "2 days later",
            "27 days",
        ];
        assert_eq!(row[1..], shown);
    }

    #[test]
    fn a_date_cap_is_no_day_to_hold_a_notice_against() {
        let mut capped = hatch(Some("2026-10-01"), vec![notice(None, None)]);
        capped.milestones[0].by = Some(PassedBy::DateCap);
        let row = dates(&capped.milestones[0], &capped, true, &Notation::default());
        assert_eq!(row[2], "not kept");
        assert_eq!(row[4..], ["1 Oct (calendar)", "–", "–", "–"]);
    }

    #[test]
    fn that_a_species_was_not_watched_is_told() {
        let watched_from = |from: Option<&str>| OfSpecies {
            watched_from: from.map(day),
            ..hatch(Some("2026-07-12"), Vec::new())
        };
        let end = day("2026-12-31");
        assert!(
            notes(&watched_from(None), end, &Notation::default())[0]
                .starts_with("It was not watched")
        );
        assert!(
            notes(&watched_from(Some("2027-01-01")), end, &Notation::default())[0]
                .starts_with("It was not watched")
        );
        assert!(
            notes(&watched_from(Some("2026-07-12")), end, &Notation::default())[0]
                .starts_with("It is watched since 12 July 2026;")
        );
        let early = notes(&watched_from(Some("2026-04-01")), end, &Notation::default());
        assert_eq!(
            early,
            ["When larvae hatched is not known: by the sums no larvae hatched."]
        );
    }

    #[test]
    fn a_hatch_that_rests_on_the_outlook_says_so() {
        let span = HatchSpan {
            first: day("2026-07-01"),
            half: day("2026-07-20"),
            most: None,
        };
        assert_eq!(
            hatch_span(&span, true, &Notation::default()),
            "By the model 1 in 20 larvae has hatched by 1 July, half by 20 July and the last of them not before the date by which they are gone."
        );
        assert!(
            hatch_span(&span, false, &Notation::default())
                .starts_with("By the model, from the days so far and the outlook, 1 in 20")
        );
    }
}
