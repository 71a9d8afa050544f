//! Milestones that are likely within two weeks, in words: a row for each, with its sites.

use super::block::Block;
use super::joined;
use crate::domain::notation::Notation;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::telling::notice::{Notice, NoticeKind};
use chrono::NaiveDate;

/// What a species does, and on which likely days at which sites.
struct SoonRow<'n> {
    species: &'n str,
    milestone: Milestone,
    days: Vec<(NaiveDate, Vec<&'n str>)>,
}

/// The milestones of a message that are near, in one block that all their sites share.
pub(super) fn blocks<'n>(notices: &[&'n Notice<'_>], notation: &Notation) -> Vec<(Block, &'n str)> {
    let mut rows: Vec<SoonRow<'n>> = Vec::new();
    let mut sites: Vec<&'n str> = Vec::new();
    for notice in notices {
        let NoticeKind::Soon {
            species,
            milestones,
        } = &notice.kind
        else {
            continue;
        };
        let site = notice.site.name.as_str();
        if !sites.contains(&site) {
            sites.push(site);
        }
        for (milestone, likely) in milestones {
            let is_it =
                |row: &&mut SoonRow<'_>| row.species == species.name && row.milestone == *milestone;
            let row = match rows.iter_mut().find(is_it) {
                Some(row) => row,
                None => {
                    rows.push(SoonRow {
                        species: &species.name,
                        milestone: *milestone,
                        days: Vec::new(),
                    });
                    rows.last_mut().expect("it was just pushed")
                }
            };
            match row.days.iter_mut().find(|(day, _)| day == likely) {
                Some((_, here)) => here.push(site),
                None => row.days.push((*likely, vec![site])),
            }
        }
    }
    for row in &mut rows {
        row.days.sort();
    }
    rows.sort_by_key(|row| row.days.first().map(|(day, _)| *day));
    let is_one = sites.len() == 1;
    let mut lines = rows.iter().map(|row| words(row, is_one, notation));
    let first = lines.next().unwrap_or_default();
    let others: Vec<String> = lines.collect();
    sites
        .into_iter()
        .map(|site| {
            let block = Block {
                urgency: URGENCY,
                head: "Likely soon".to_owned(),
                deadline: first.clone(),
                lines: others.clone(),
                names_sites: true,
                ..Block::default()
            };
            (block, site)
        })
        .collect()
}

/// They come after what has come.
const URGENCY: u8 = 6;

/// "Japanese beetle, egg lay: 26 June (Field 8), 28 June (Field 2 and Field 6)." Where there is one site its
/// name stands above.
fn words(row: &SoonRow<'_>, is_one: bool, notation: &Notation) -> String {
    let days: Vec<String> = row
        .days
        .iter()
        .map(|(day, sites)| match is_one {
            true => format!("about {}", notation.day(*day)),
            false => format!("{} ({})", notation.day(*day), joined(sites.iter().copied())),
        })
        .collect();
    format!(
        "{}, {}: {}.",
        row.species,
        row.milestone.title(),
        days.join(", ")
    )
}
