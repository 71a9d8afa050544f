//! Words for milestones that were passed, moved or taken back.

use super::block::Block;
use crate::domain::notation::Notation;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::Outlook;
use crate::domain::phenology::season_state::{Crossing, Expectation, PassedBy};
use crate::domain::phenology::species::Species;
use crate::domain::telling::meaning::Meaning;
use crate::domain::telling::notice::Notice;
use crate::domain::treatment::need::Need;
use chrono::NaiveDate;

/// Milestones come after work.
const URGENCY: u8 = 5;

/// A milestone that was passed.
pub(super) fn passed(
    notice: &Notice<'_>,
    species: &Species,
    crossing: &Crossing,
    next: Option<Expectation>,
    meaning: Meaning,
    notation: &Notation,
) -> Block {
    let mut lines = vec![meaning_words(meaning)];
    // A preventive has no days left after the window.
    let is_over = crossing.milestone == Milestone::WindowEnd;
    let need = notice.need.as_ref();
    let need = need.filter(|need| !(is_over && matches!(need, Need::Preventive(_))));
    lines.extend(need.map(|need| decision(need).to_owned()));
    let estimated = match (crossing.by, crossing.estimated_days) {
        (PassedBy::DateCap | PassedBy::DateCapUnknown, _) => None,
        (PassedBy::Sum, 0) => Some("The day is an estimate from temperature sums."),
        (PassedBy::Sum, _) => Some("The day is an estimate, in part from estimated temperatures."),
    };
    lines.extend(estimated.map(str::to_owned));
    Block {
        urgency: URGENCY,
        species: vec![species.name.clone()],
        head: has_come(crossing, notation),
        deadline: next.map_or_else(
            || "Nothing more this season.".to_owned(),
            |next| format!("Next: {}.", expectation(&next, notation)),
        ),
        lines,
        ..Block::default()
    }
}

fn has_come(crossing: &Crossing, notation: &Notation) -> String {
    let on = notation.day(crossing.on);
    let by = match crossing.by {
        PassedBy::Sum => String::new(),
        PassedBy::DateCap | PassedBy::DateCapUnknown => " by the calendar".to_owned(),
    };
    let what = match crossing.milestone {
        Milestone::WindowEnd => "window has ended",
        Milestone::AdultFlight => "adult flight has begun",
        Milestone::EggLay => "egg lay has begun",
        Milestone::Hatch => "hatch has begun",
    };
    format!("{what} ({on}{by})")
}

/// What a milestone means for the work, in a sentence. Common practice, no source.
fn meaning_words(meaning: Meaning) -> String {
    match meaning {
        Meaning::Overtaken { by, days_ago } => format!(
            "Told late, {days_ago} days after; the {} has been passed since: go by that.",
            by.title()
        ),
        Meaning::OutOfDate { days_ago } => {
            format!("Told late, {days_ago} days after: go by the date.")
        }
        Meaning::AdultFlight => "First eggs usually follow within one to two weeks.".to_owned(),
        Meaning::EggLay => "First larvae usually hatch within ten days to two weeks. Watered turf is at more risk than dry turf around it.".to_owned(),
        Meaning::Hatch => "Small larvae now feed near the surface. Look for them in three to four weeks; you are told when.".to_owned(),
        Meaning::EndUnknown => "Days are missing, so how far the hatch came is not known. Count grubs.".to_owned(),
        Meaning::EndWithoutHatch => "By the sums nothing hatched, so nothing needs to be applied against this year's larvae.".to_owned(),
        Meaning::EndByDate => "Many larvae are still small and go deeper as the soil cools. Preventives do little now; count, and look again in spring.".to_owned(),
        Meaning::EndBySum => "About half of the larvae are too large for preventives. Count before anything is applied.".to_owned(),
    }
}

/// Whether to treat here, in a few words.
fn decision(need: &Need) -> &'static str {
    match need {
        Need::Preventive(_) => "A preventive is called for here; its days are told apart.",
        Need::Curative { .. } => "A count calls for a curative here; its days are told apart.",
        Need::CountMore { .. } => "Count more before anything is applied.",
        Need::Nothing(_) => "Nothing to apply here.",
    }
}

/// A milestone ahead with its dates: "hatch about 8 July (29 June to 16 July)".
fn expectation(next: &Expectation, notation: &Notation) -> String {
    let title = next.milestone.title();
    match &next.outlook {
        Ok((outlook, _)) => format!("{title} {}", dates(outlook, notation)),
        Err(why) => format!("{title}, no date yet ({why})"),
    }
}

/// The dates of an outlook.
fn dates(outlook: &Outlook, notation: &Notation) -> String {
    let by_calendar = outlook.by_calendar;
    match (outlook.early, outlook.likely, outlook.late) {
        (_, Some(cap), _) if by_calendar.likely => {
            format!("by the calendar on {}", notation.day(cap))
        }
        (Some(early), Some(likely), Some(late)) if early == late => {
            format!("on {}", notation.day(likely))
        }
        (Some(early), Some(likely), Some(late)) => format!(
            "about {} ({} to {})",
            notation.day(likely),
            notation.day(early),
            notation.day(late)
        ),
        (Some(early), Some(likely), None) => format!(
            "about {} (from {}; perhaps not this season)",
            notation.day(likely),
            notation.day(early)
        ),
        _ => "hardly this season".to_owned(),
    }
}

/// A told date that has moved.
pub(super) fn moved(
    species: &Species,
    told: NaiveDate,
    crossing: &Crossing,
    notation: &Notation,
) -> Block {
    Block {
        urgency: URGENCY,
        head: format!(
            "{}: {} came on {}, not on {}",
            species.name,
            crossing.milestone.title(),
            notation.day(crossing.on),
            notation.day(told)
        ),
        deadline: String::new(),
        lines: vec!["Corrected temperatures or a catch have moved it.".to_owned()],
        ..Block::default()
    }
}

/// A told milestone that is taken back.
pub(super) fn withdrawn(
    species: &Species,
    milestone: Milestone,
    told: NaiveDate,
    notation: &Notation,
) -> Block {
    Block {
        urgency: URGENCY - 1,
        head: format!(
            "{}: {} of {} was told too soon",
            species.name,
            milestone.title(),
            notation.day(told)
        ),
        deadline: "Hold back what is not done yet; you are told when it comes.".to_owned(),
        lines: vec!["The sum no longer reaches it by the temperatures known now.".to_owned()],
        ..Block::default()
    }
}
