//! The season's letter in words: every milestone as a range, whether anything is to be applied, and what
//! to get ready.

use super::block::Block;
use super::day_month;
use super::treatment::need_in_brief;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::Outlook;
use crate::domain::telling::notice::{Instead, Notice};
use crate::domain::telling::season_letter::SpeciesAhead;
use crate::domain::treatment::need::Need;
use chrono::{Datelike, NaiveDate};

/// Columns of a milestone's range.
const RANGE_COLUMNS: usize = 15;

/// The letter about one site.
pub(super) fn block(notice: &Notice<'_>, species: &[SpeciesAhead<'_>], ready: &[Instead]) -> Block {
    let need = notice.need.as_ref();
    let deadline = need.map_or("", need_in_brief).to_owned();
    let mut lines = Vec::new();
    let calls = need.is_some_and(|need| need.purpose().is_some());
    lines.extend(ready.iter().filter(|_| calls).map(|one| {
        format!(
            "Get ready: {}, {} to {}.",
            one.name,
            day_month(one.window.first),
            day_month(one.window.last)
        )
    }));
    if matches!(need, Some(Need::Nothing(_))) {
        lines.push("Count grubs in late summer; you are told when.".to_owned());
    }
    lines.push("Dates are estimates: 8 of 10 seasons fall within them.".to_owned());
    Block {
        urgency: 4,
        head: "The grub season ahead".to_owned(),
        deadline,
        lines,
        table: species.iter().flat_map(rows).collect(),
        applied: Vec::new(),
    }
}

/// The species' name and its milestones below.
fn rows(of: &SpeciesAhead<'_>) -> Vec<String> {
    let short = |milestone: Milestone| match milestone {
        Milestone::AdultFlight => "flight",
        Milestone::EggLay => "egg lay",
        Milestone::Hatch => "hatch",
        Milestone::WindowEnd => "window ends",
    };
    let cells = |words: &dyn Fn(&crate::domain::phenology::season_state::Expectation) -> String| {
        let row: String = of
            .ahead
            .iter()
            .map(|one| format!("{:<RANGE_COLUMNS$}", words(one)))
            .collect();
        format!("  {}", row.trim_end())
    };
    if of.ahead.iter().all(|one| one.outlook.is_err()) {
        return vec![format!("{}: no dates yet", of.species.name)];
    }
    vec![
        of.species.name.clone(),
        cells(&|one| short(one.milestone).to_owned()),
        cells(&|one| {
            one.outlook
                .as_ref()
                .map_or("–".to_owned(), |(outlook, _)| range(outlook))
        }),
    ]
}

/// A range in a few columns: "29 Jun-16 Jul".
fn range(outlook: &Outlook) -> String {
    let day = |day: NaiveDate| day.format("%-d %b").to_string();
    match (outlook.early, outlook.likely, outlook.late) {
        (_, Some(cap), _) if outlook.by_calendar.likely => format!("calendar {}", day(cap)),
        (Some(early), _, Some(late)) if early == late => day(early),
        (Some(early), _, Some(late)) if early.month() == late.month() => {
            format!("{}-{}", early.day(), day(late))
        }
        (Some(early), _, Some(late)) => format!("{}-{}", day(early), day(late)),
        (Some(early), ..) => format!("from {}", day(early)),
        _ => "hardly".to_owned(),
    }
}
