//! The digest in words: a row for each thing, with its sites.

use super::block::{PUSH_CAUTION, PUSH_CHARS, cut};
use super::{Message, Reader, joined, wrapped};
use crate::domain::notation::Notation;
use crate::domain::place::site::{Channel, Recipient};
use crate::domain::telling::digest::{Digest, DigestItem};

/// Sites or members that are named in a row; of more the first ones and how many more.
const NAMED_PLACES: usize = 8;

/// Words a digest.
pub fn digest_message(
    service: &str,
    answer_to: &str,
    (recipient, channel): (&Recipient, Channel),
    digest: &Digest,
) -> Message {
    let reader = Reader::of(recipient, answer_to);
    let notation = reader.notation;
    let work = digest
        .items
        .iter()
        .filter(|(item, _)| is_work(item))
        .count();
    let title = match work {
        0 => format!(
            "Grubs: {} passed or moved, nothing to do",
            digest.items.len()
        ),
        1 => "Grubs: 1 thing to do".to_owned(),
        many => format!("Grubs: {many} things to do"),
    };
    let is_applied = digest
        .items
        .iter()
        .any(|(item, _)| matches!(item, DigestItem::Apply { .. } | DigestItem::Water { .. }));
    if channel.is_brief() {
        let first = digest
            .items
            .first()
            .map_or(String::new(), |item| row(item, notation));
        let caution = if is_applied { PUSH_CAUTION } else { "" };
        let room = PUSH_CHARS - caution.len();
        let body = cut(&format!("{title}. {first}."), room) + caution;
        return Message { title, body };
    }
    let (todo, news): (Vec<_>, Vec<_>) = digest.items.iter().partition(|(item, _)| is_work(item));
    let mut parts = Vec::new();
    for (heading, items) in [("To do", todo), ("New since the last digest", news)] {
        if !items.is_empty() {
            let rows: Vec<String> = items
                .into_iter()
                .map(|item| wrapped(&row(item, notation), "- ", "  "))
                .collect();
            parts.push(format!("{heading}:\n{}", rows.join("\n")));
        }
    }
    if is_applied {
        parts.push(wrapped(
            "Cautions: the label is the law; local rules and a licensed applicator decide. Never on turf in bloom; keep off water; children and pets off until it is watered in and dry.",
            "",
            "",
        ));
    }
    parts.push(reader.footer(service));
    Message {
        title,
        body: parts.join("\n\n"),
    }
}

fn is_work(item: &DigestItem) -> bool {
    matches!(
        item,
        DigestItem::Apply { .. } | DigestItem::Water { .. } | DigestItem::Count { .. }
    )
}

fn row((item, sites): &(DigestItem, Vec<String>), notation: &Notation) -> String {
    let what = match item {
        DigestItem::Apply { by, option } => format!("Apply {option} by {}", notation.day(*by)),
        DigestItem::Water { by, option } => format!("Water in {option}, due {}", notation.day(*by)),
        DigestItem::Count { is_new: true } => {
            "Count grubs within about two weeks: the larvae can now be seen".to_owned()
        }
        DigestItem::Count { is_new: false } => "Count grubs, not done yet".to_owned(),
        DigestItem::Passed {
            species,
            milestone,
            on,
            by_calendar,
        } => format!(
            "{species}, {} {}{}",
            milestone.title(),
            notation.day(*on),
            if *by_calendar { " by the calendar" } else { "" }
        ),
        DigestItem::Moved {
            species,
            milestone,
            from,
            to,
        } => format!(
            "{species}, {} now likely about {}, not {}",
            milestone.title(),
            notation.day(*to),
            notation.day(*from)
        ),
        DigestItem::Stale { station, newest } => match newest {
            Some(day) => format!(
                "No new temperatures of {station} since {}",
                notation.day_and_year(*day)
            ),
            None => format!("No temperatures of {station} yet"),
        },
    };
    format!("{what}: {}", places(sites))
}

/// The places of a row. A member of whom several sites share it is named once, with how many.
fn places(names: &[String]) -> String {
    let named: Vec<String> = names
        .chunk_by(|a, b| a == b)
        .map(|same| match same.len() {
            1 => same[0].clone(),
            many => format!("{} ({many} sites)", same[0]),
        })
        .collect();
    if named.len() <= NAMED_PLACES {
        return joined(named.iter().map(String::as_str));
    }
    let first = named[..NAMED_PLACES].join(", ");
    format!("{first} and {} more", named.len() - NAMED_PLACES)
}
