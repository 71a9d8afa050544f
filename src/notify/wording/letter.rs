//! The season's letter in words: every milestone as a range, whether anything is to be applied, and what
//! to get ready.

use super::block::Block;
use super::treatment::need_in_brief;
use crate::domain::notation::{Dates, Notation};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::Outlook;
use crate::domain::telling::notice::{Instead, Notice, NoticeKind};
use crate::domain::telling::season_letter::SpeciesAhead;
use crate::domain::treatment::need::Need;
use chrono::{Datelike, NaiveDate};

/// The least columns of a milestone's range, and those between two of them.
const RANGE_COLUMNS: usize = 13;
const BETWEEN: usize = 2;

/// Sites with dates of their own; where more than so many differ, one table spans them all.
const TABLES: usize = 2;

/// The letters of a message, each with its site.
pub(super) fn blocks<'n>(notices: &[&'n Notice<'_>], notation: &Notation) -> Vec<(Block, &'n str)> {
    let letters = || {
        notices.iter().filter_map(|notice| match &notice.kind {
            NoticeKind::SeasonAhead { species, ready } => Some((*notice, species, ready)),
            _ => None,
        })
    };
    let alone =
        |(notice, species, ready): (&'n Notice<'_>, &Vec<SpeciesAhead<'_>>, &Vec<Instead>)| {
            (
                block(notice.need.as_ref(), species, ready, notation),
                notice.site.name.as_str(),
            )
        };
    let each: Vec<(Block, &str)> = letters().map(alone).collect();
    let differ = each
        .iter()
        .enumerate()
        .filter(|(place, (one, _))| each[..*place].iter().all(|(before, _)| before != one));
    if differ.count() <= TABLES {
        return each;
    }
    // What is called for may still differ from site to site.
    letters()
        .map(|(notice, ..)| {
            let alike = || letters().filter(|(other, ..)| other.need == notice.need);
            let species = spanning(alike().flat_map(|(_, species, _)| species));
            let ready = open_for_all(alike().flat_map(|(.., ready)| ready));
            (
                block(notice.need.as_ref(), &species, &ready, notation),
                notice.site.name.as_str(),
            )
        })
        .collect()
}

/// Each species once, its dates from the earliest to the latest of all sites.
fn spanning<'s, 'a: 's>(all: impl Iterator<Item = &'s SpeciesAhead<'a>>) -> Vec<SpeciesAhead<'a>> {
    let mut spans: Vec<SpeciesAhead<'a>> = Vec::new();
    for one in all {
        let Some(known) = spans
            .iter_mut()
            .find(|known| known.species.id == one.species.id)
        else {
            spans.push(one.clone());
            continue;
        };
        for here in &one.ahead {
            let same = known
                .ahead
                .iter_mut()
                .find(|there| there.milestone == here.milestone);
            match (same, &here.outlook) {
                (Some(there), Ok((outlook, _))) => match &mut there.outlook {
                    Ok((span, _)) => {
                        span.early = span.early.min(outlook.early);
                        span.late = span.late.max(outlook.late);
                        span.by_calendar.likely &= outlook.by_calendar.likely;
                    }
                    Err(_) => there.outlook = here.outlook,
                },
                (None, _) => known.ahead.push(*here),
                (Some(_), Err(_)) => {}
            }
        }
        known.ahead.sort_by_key(|one| one.milestone);
    }
    spans
}

/// Each option once, from its first day anywhere to the last that serves all.
fn open_for_all<'r>(all: impl Iterator<Item = &'r Instead>) -> Vec<Instead> {
    let mut options: Vec<Instead> = Vec::new();
    for one in all {
        match options.iter_mut().find(|known| known.name == one.name) {
            Some(known) => {
                known.window.first = known.window.first.min(one.window.first);
                known.window.last = known.window.last.min(one.window.last);
            }
            None => options.push(one.clone()),
        }
    }
    options
}

/// The letter about one site, or about several with the same dates.
fn block(
    need: Option<&Need>,
    species: &[SpeciesAhead<'_>],
    ready: &[Instead],
    notation: &Notation,
) -> Block {
    let deadline = need.map_or("", need_in_brief).to_owned();
    let mut lines = Vec::new();
    let calls = need.is_some_and(|need| need.purpose().is_some());
    lines.extend(ready.iter().filter(|_| calls).map(|one| {
        format!(
            "Get ready: {}, {} to {}.",
            one.name,
            notation.day(one.window.first),
            notation.day(one.window.last)
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
        table: table(species, notation),
        ..Block::default()
    }
}

/// The milestones' names once, then each species with its ranges below; as wide as the longest of them.
fn table(species: &[SpeciesAhead<'_>], notation: &Notation) -> Vec<String> {
    let names = Milestone::ALL.map(|milestone| match milestone {
        Milestone::AdultFlight => "flight".to_owned(),
        Milestone::EggLay => "egg lay".to_owned(),
        Milestone::Hatch => "hatch".to_owned(),
        Milestone::WindowEnd => "window ends".to_owned(),
    });
    let ranges = species.iter().map(|of| {
        let has_dates = of.ahead.iter().any(|one| one.outlook.is_ok());
        has_dates.then(|| {
            Milestone::ALL.map(|milestone| {
                let here = of.ahead.iter().find(|one| one.milestone == milestone);
                match here.map(|one| &one.outlook) {
                    Some(Ok((outlook, _))) => range(outlook, notation),
                    Some(Err(_)) => "no date".to_owned(),
                    None => "passed".to_owned(),
                }
            })
        })
    });
    let ranges: Vec<Option<[String; 4]>> = ranges.collect();
    let cells = ranges.iter().flatten().flatten();
    let longest = cells.map(|range| range.chars().count()).max();
    let columns = longest.unwrap_or_default().max(RANGE_COLUMNS) + BETWEEN;
    let row = |cells: &[String; 4]| {
        let row: String = cells
            .iter()
            .map(|cell| format!("{cell:<columns$}"))
            .collect();
        format!("  {}", row.trim_end())
    };
    let mut lines = vec![row(&names)];
    for (of, ranges) in species.iter().zip(&ranges) {
        match ranges {
            Some(ranges) => lines.extend([of.species.name.clone(), row(ranges)]),
            None => lines.push(format!("{}: no dates yet", of.species.name)),
        }
    }
    lines
}

/// A range in a few columns: "29 Jun-16 Jul".
fn range(outlook: &Outlook, notation: &Notation) -> String {
    let day = |day: NaiveDate| notation.short_day(day);
    match (outlook.early, outlook.likely, outlook.late) {
        (_, Some(cap), _) if outlook.by_calendar.likely => format!("calendar {}", day(cap)),
        (Some(early), _, Some(late)) if early == late => day(early),
        (Some(early), _, Some(late))
            if early.month() == late.month() && notation.dates == Dates::default() =>
        {
            format!("{}-{}", early.day(), day(late))
        }
        // ISO 8601 has a solidus between the ends of an interval.
        (Some(early), _, Some(late)) if notation.dates == Dates::Iso => {
            format!("{}/{}", day(early), day(late))
        }
        (Some(early), _, Some(late)) => format!("{}-{}", day(early), day(late)),
        (Some(early), ..) => format!("from {}", day(early)),
        _ => "hardly".to_owned(),
    }
}
