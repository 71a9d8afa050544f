//! What is told of one thing, and how things are put together to a message: sites of which the same is
//! told share one block.

use super::{joined, uncapitalised, wrapped};
use crate::domain::treatment::option::TreatmentOption;
use chrono::NaiveDate;

/// Sites that are named in the first line; of more it has the number.
const NAMED_SITES: usize = 2;

/// The urgency from which on a block is news and nothing to do.
const FIRST_NEWS: u8 = 4;

/// Longest title, characters.
pub(super) const TITLE_CHARS: usize = 60;

/// Longest push message, characters.
pub(super) const PUSH_CHARS: usize = 240;

/// Longest text of a notice in a browser before its cautions, characters.
const NOTICE_CHARS: usize = 400;

/// What a push message ends with where something is applied or watered in because of it.
pub(super) const PUSH_CAUTION: &str = " Cautions: label is the law; not on blooms; off water; people and pets off. See label and mail.";

/// What is told of one thing, without the sites.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Block {
    /// What is most urgent comes first, from 0.
    pub urgency: u8,
    /// The species that it is of, where that is part of the first line.
    pub species: Vec<String>,
    /// The last day for what is to be done.
    pub by: Option<NaiveDate>,
    /// The decision.
    pub head: String,
    /// The deadline, or what comes next.
    pub deadline: String,
    /// What and why.
    pub lines: Vec<String>,
    /// Lines that are not wrapped.
    pub table: Vec<String>,
    /// What is applied or watered in because of it, which has its cautions.
    pub applied: Vec<AppliedOption>,
    /// Whether its lines say which site is meant.
    pub names_sites: bool,
}

/// An option that somebody may apply because of a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct AppliedOption {
    name: String,
    is_restricted: bool,
    caution: Option<String>,
}

impl AppliedOption {
    pub fn of(option: &TreatmentOption) -> Self {
        // What stands behind the colon or in brackets is in the plan.
        let brief = |caution: &String| {
            let words = caution.split([':', '(', ';', '.']).next();
            words.unwrap_or_default().trim().to_owned()
        };
        Self {
            name: option.name.clone(),
            is_restricted: option.restricted,
            caution: option.cautions.first().map(brief),
        }
    }
}

/// A block with the sites it is told of.
#[derive(Debug)]
pub(super) struct Grouped<'n> {
    block: Block,
    sites: Vec<&'n str>,
}

/// Blocks with their sites, the most urgent first and of these what ends first. The same ones are put together:
/// what is the same of several species of a site, then what is the same of several sites.
pub(super) fn together<'n>(blocks: impl Iterator<Item = (Block, &'n str)>) -> Vec<Grouped<'n>> {
    let mut of_sites: Vec<(Block, &str)> = Vec::new();
    for (block, site) in blocks {
        let same = |(known, there): &&mut (Block, &str)| {
            *there == site && known.differs_in_species(&block)
        };
        match of_sites.iter_mut().find(same) {
            Some((known, _)) => known.species.extend(block.species),
            None => of_sites.push((block, site)),
        }
    }
    let mut told: Vec<Grouped<'n>> = Vec::new();
    for (block, site) in of_sites {
        match told.iter_mut().find(|one| one.block == block) {
            Some(one) => one.sites.push(site),
            None => told.push(Grouped {
                block,
                sites: vec![site],
            }),
        }
    }
    told.sort_by_key(|one| (one.block.urgency, one.block.by.unwrap_or(NaiveDate::MAX)));
    told
}

impl Block {
    /// The decision, with the species that it is of.
    fn decision(&self) -> String {
        if self.species.is_empty() {
            return self.head.clone();
        }
        let species = joined(self.species.iter().map(String::as_str));
        format!("{species}: {}", self.head)
    }

    /// Whether another is the same but for the species.
    fn differs_in_species(&self, other: &Self) -> bool {
        let with_ours = Self {
            species: self.species.clone(),
            ..other.clone()
        };
        !other.species.is_empty() && *self == with_ours
    }
}

impl Grouped<'_> {
    fn place(&self) -> String {
        match self.sites.len() {
            few if few <= NAMED_SITES => joined(self.sites.iter().copied()),
            many => format!("{many} sites"),
        }
    }

    fn first_line(&self) -> String {
        format!("{}: {}", self.block.decision(), self.place())
    }

    fn full(&self) -> String {
        let block = &self.block;
        let mut lines = vec![wrapped(&self.first_line(), "", "")];
        if !block.deadline.is_empty() {
            lines.push(wrapped(&block.deadline, "", ""));
        }
        lines.extend(block.table.iter().cloned());
        if self.sites.len() > NAMED_SITES && !block.names_sites {
            let sites = format!("Sites: {}.", self.sites.join(", "));
            lines.push(wrapped(&sites, "", ""));
        }
        lines.extend(block.lines.iter().map(|line| wrapped(line, "", "")));
        lines.join("\n")
    }
}

/// The title of a message: the decision first.
pub(super) fn title(told: &[Grouped<'_>]) -> String {
    let Some(first) = told.first() else {
        return "Nothing to report".to_owned();
    };
    let more = match told.len() - 1 {
        0 => String::new(),
        more => format!(" (+{more})"),
    };
    let line = first.first_line();
    if line.chars().count() + more.len() <= TITLE_CHARS {
        return line + &more;
    }
    // Where a place does not fit, the text has it.
    cut(&first.block.decision(), TITLE_CHARS - more.len()) + &more
}

/// The text of a mail.
pub(super) fn full(told: &[Grouped<'_>], footer: String) -> String {
    let blocks = told.iter().map(Grouped::full);
    let cautions = cautions(told);
    let parts: Vec<String> = blocks
        .chain((!cautions.is_empty()).then(|| {
            let lines: Vec<String> = cautions
                .iter()
                .map(|line| wrapped(line, "- ", "  "))
                .collect();
            format!("Cautions:\n{}", lines.join("\n"))
        }))
        .chain([footer])
        .collect();
    parts.join("\n\n")
}

/// The text of a push message. Where there is no room for everything, what comes after news is left
/// out before news are.
pub(super) fn brief(told: &[Grouped<'_>]) -> String {
    let caution = if applied(told).is_empty() {
        ""
    } else {
        PUSH_CAUTION
    };
    let room = PUSH_CHARS - caution.len();
    let with_deadlines = |most: usize| {
        let lines = told.iter().enumerate().map(|(place, one)| {
            let deadline = if place < most || one.block.urgency < FIRST_NEWS {
                one.block.deadline.as_str()
            } else {
                ""
            };
            format!("{}. {deadline}", one.first_line())
                .trim()
                .to_owned()
        });
        lines.collect::<Vec<_>>().join(" ")
    };
    let text = (0..=told.len())
        .rev()
        .map(with_deadlines)
        .find(|text| text.chars().count() <= room)
        .unwrap_or_else(|| with_deadlines(0));
    cut(&text, room) + caution
}

/// The text of a notice in a browser, whose title says the decision: deadlines with the first reason, and
/// the cautions on a line of their own, whole: there may be no mail that has them.
pub(super) fn shown(told: &[Grouped<'_>]) -> String {
    let title = title(told);
    let alone = told.len() == 1;
    let lines = told.iter().map(|one| {
        let line = one.first_line();
        let head = match alone && line == title {
            true => String::new(),
            false => format!("{line}. "),
        };
        let reason = one.block.lines.first().filter(|_| alone);
        let reason = reason.map_or("", String::as_str);
        format!("{head}{} {reason}", one.block.deadline)
            .trim()
            .to_owned()
    });
    let text = cut(&lines.collect::<Vec<_>>().join(" "), NOTICE_CHARS);
    match cautions(told) {
        none if none.is_empty() => text,
        cautions => format!("{text}\nCautions: {}", cautions.join(" ")),
    }
}

/// Three lines at most: the label and the law, where it must not go, and what is special to the options.
fn cautions(told: &[Grouped<'_>]) -> Vec<String> {
    let applied = applied(told);
    if applied.is_empty() {
        return Vec::new();
    }
    let restricted = applied
        .iter()
        .filter(|one| one.is_restricted)
        .map(|one| one.name.as_str());
    let restricted = joined(restricted);
    let mut law = "The label is the law; local rules and a licensed applicator decide.".to_owned();
    if !restricted.is_empty() {
        law += &format!(" {restricted}: restricted or forbidden in many places.");
    }
    let mut lines = vec![
        law,
        "Never on turf in bloom. Keep off water and drains. Children and pets off until it is watered in and dry.".to_owned(),
    ];
    let own: Vec<String> = applied
        .iter()
        .filter_map(|one| {
            Some(format!(
                "{}: {}",
                one.name,
                uncapitalised(one.caution.as_ref()?)
            ))
        })
        .collect();
    if !own.is_empty() {
        lines.push(own.join(". ") + ".");
    }
    lines
}

fn applied<'t>(told: &'t [Grouped<'_>]) -> Vec<&'t AppliedOption> {
    let mut applied: Vec<&AppliedOption> = Vec::new();
    for one in told.iter().flat_map(|one| &one.block.applied) {
        if !applied.contains(&one) {
            applied.push(one);
        }
    }
    applied
}

/// A text cut at a word so that it has no more than so many characters.
pub(super) fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let room: String = text.chars().take(most - 1).collect();
    let words = room.rsplit_once(' ').map_or(&*room, |(words, _)| words);
    words.trim_end_matches([',', ':', ';']).to_owned() + "…"
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(urgency: u8, head: &str, deadline: &str) -> Grouped<'static> {
        let block = Block {
            urgency,
            head: head.to_owned(),
            deadline: deadline.to_owned(),
            ..Block::default()
        };
        Grouped {
            block,
            sites: vec!["The lawn"],
        }
    }

    #[test]
    fn the_same_of_several_species_and_then_of_several_sites_is_told_once() {
        let of = |species: &str, deadline: &str| Block {
            species: vec![species.to_owned()],
            head: "flight has begun".to_owned(),
            deadline: deadline.to_owned(),
            ..Block::default()
        };
        let told = together(
            [
                (of("Chafer", "soon"), "East"),
                (of("Beetle", "soon"), "East"),
                (of("Chafer", "soon"), "West"),
                (of("Beetle", "soon"), "West"),
                (of("Beetle", "later"), "North"),
            ]
            .into_iter(),
        );
        let lines: Vec<String> = told.iter().map(Grouped::first_line).collect();
        assert_eq!(
            lines,
            [
                "Chafer and Beetle: flight has begun: East and West",
                "Beetle: flight has begun: North"
            ]
        );
    }

    #[test]
    fn of_what_is_as_urgent_what_ends_first_comes_first() {
        let of = |urgency: u8, by: Option<&str>| Block {
            urgency,
            by: by.map(|day| day.parse().unwrap()),
            ..Block::default()
        };
        let blocks = [
            (of(1, None), "d"),
            (of(1, Some("2026-08-08")), "c"),
            (of(0, Some("2026-09-01")), "a"),
            (of(1, Some("2026-07-27")), "b"),
        ];
        let told = together(blocks.into_iter());
        let sites: Vec<&str> = told.iter().map(|one| one.sites[0]).collect();
        assert_eq!(sites, ["a", "b", "c", "d"]);
    }

    #[test]
    fn a_push_that_is_too_long_keeps_deadlines_of_work_and_drops_those_of_news() {
        let next = "Next: hatch, and more words than there is room for in a push. ".repeat(3);
        let work = told(1, "Apply it", "By 20 July.");
        let news = || told(5, "Flight has begun", next.trim());
        assert_eq!(
            brief(&[work, news(), news()]),
            "Apply it: The lawn. By 20 July. Flight has begun: The lawn. Flight has begun: The lawn."
        );
        // There is room for seven of eight, and all seven keep theirs.
        let much = [(); 8].map(|()| told(1, "Apply it", "By 20 July."));
        assert_eq!(brief(&much).matches("By 20 July.").count(), 7);
        assert!(brief(&[news()]).ends_with("room for in a push."));
    }
}
