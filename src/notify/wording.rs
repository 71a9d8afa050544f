//! What people read: notices in words, one message a recipient. Pure. The decision comes first, the
//! deadline second; numbers and sources stay in the plan.

use crate::domain::notation::Notation;
use crate::domain::place::site::{Channel, Recipient};
use crate::domain::telling::notice::{Bundle, Notice, NoticeKind};
use block::{Block, together};

mod advice;
mod block;
mod browser_ended;
mod configuration;
mod count;
mod digest;
mod feed;
mod letter;
mod links;
mod milestone;
mod notation;
mod proof_of_life;
mod sign_in;
mod soon;
mod test_message;
mod treatment;
mod undelivered;
mod upkeep;
mod water;
mod weather;
mod work;

pub use advice::{against_hatch, rotation_words};
pub use browser_ended::{BrowserEnded, browser_ended_message};
pub use configuration::configuration_message;
pub use count::{
    how_to_dig, limits, what_damage_counts_for, what_it_says, what_was_found,
    what_was_found_in_brief,
};
pub use digest::digest_message;
pub use feed::feed_message;
pub use links::{ALL_SITES_NOTE, STOP_WORDS, all_sites, links_heading, picture_caption};
pub use proof_of_life::{Health, proof_of_life};
pub use sign_in::{SignInLink, sign_in_message};
pub use test_message::{TestOf, test_message};
pub use treatment::{how_words, need_words, on_each_field, samples_words, spread_words};
pub use undelivered::{Undelivered, undelivered_message};
pub use water::water_in_words;
pub use weather::{weather_words, wet_words};
pub use work::CAUTIONS;

/// Columns a mail is wrapped to.
pub(crate) const COLUMNS: usize = 72;

/// A message ready for the outbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Subject or title.
    pub title: String,
    /// Text.
    pub body: String,
}

/// Who reads a message, as far as its words depend on it.
#[derive(Debug, Clone, Copy)]
struct Reader<'r> {
    /// Their name.
    name: &'r str,
    /// Whether they have the machine that runs this, so that commands are worth naming.
    at_machine: bool,
    /// Whom they answer to otherwise.
    answer_to: &'r str,
    /// How they want numbers and dates written.
    notation: &'r Notation,
}

impl<'r> Reader<'r> {
    fn of(recipient: &'r Recipient, answer_to: &'r str) -> Self {
        Self {
            name: &recipient.name,
            at_machine: recipient.at_machine,
            answer_to,
            notation: &recipient.notation,
        }
    }

    /// The last line of a mail.
    fn footer(&self, service: &str) -> String {
        wrapped(
            &format!(
                "For {}, from hatchbell at {service}. Questions to {}.",
                self.name, self.answer_to
            ),
            "",
            "",
        )
    }

    /// What to do with something seen or done: the command, or whom to tell.
    fn report(&self, command: &str) -> String {
        if self.at_machine {
            format!("Log it: {command}.")
        } else {
            format!("Tell {}.", self.answer_to)
        }
    }
}

/// Words a bundle for a recipient who answers to somebody.
pub fn message(service: &str, answer_to: &str, bundle: &Bundle<'_, '_>) -> Message {
    let reader = Reader::of(bundle.recipient, answer_to);
    let notation = reader.notation;
    let letters = letter::blocks(&bundle.notices, notation);
    let soon = soon::blocks(&bundle.notices, notation);
    let others = bundle.notices.iter().filter_map(|notice| {
        Some((
            block(notice, &bundle.notices, reader)?,
            notice.site.name.as_str(),
        ))
    });
    let told = together(letters.into_iter().chain(others).chain(soon));
    Message {
        title: block::title(&told),
        body: match bundle.channel {
            Channel::Push => block::brief(&told),
            Channel::WebPush => block::shown(&told),
            Channel::Email | Channel::Console | Channel::File => {
                block::full(&told, reader.footer(service))
            }
        },
    }
}

/// A notice by itself; the season's letters, and milestones that are near, are worded together, and what is
/// held back with others of `all`.
fn block(notice: &Notice<'_>, all: &[&Notice<'_>], reader: Reader<'_>) -> Option<Block> {
    let notation = reader.notation;
    Some(match &notice.kind {
        NoticeKind::SeasonAhead { .. } | NoticeKind::Soon { .. } => return None,
        NoticeKind::Passed {
            species,
            crossing,
            next,
            meaning,
            ..
        } => milestone::passed(notice, species, crossing, *next, *meaning, notation),
        NoticeKind::Moved {
            species,
            told,
            crossing,
            ..
        } => milestone::moved(species, *told, crossing, notation),
        NoticeKind::Withdrawn {
            species,
            milestone,
            told,
            ..
        } => milestone::withdrawn(species, *milestone, *told, notation),
        NoticeKind::Treatment(treatment) => treatment::block(treatment, notice.site, reader),
        NoticeKind::CountNow { species, from } => {
            treatment::count_block(notice.site, species, *from, reader)
        }
        NoticeKind::Counted { on } => treatment::counted_block(notice, *on, reader),
        NoticeKind::Water {
            option,
            watering,
            wet,
        } => water::water_block(notice.site, option, watering, *wet, reader),
        NoticeKind::Held { hold, .. } => upkeep::held(notice, all, *hold, notation)?,
        NoticeKind::Released { species } => upkeep::released(species),
        NoticeKind::Stale { newest } => upkeep::stale(notice, *newest, reader, notation),
        NoticeKind::Fresh { newest } => upkeep::fresh(notice, *newest, notation),
    })
}

fn wrapped(text: &str, first: &str, later: &str) -> String {
    let options = textwrap::Options::new(COLUMNS)
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit)
        // Ids in commands have hyphens and must not be cut there.
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .initial_indent(first)
        .subsequent_indent(later);
    textwrap::fill(text, options)
}

/// Names as a reader lists them: "a, b and c".
pub(crate) fn joined<'n>(names: impl Iterator<Item = &'n str>) -> String {
    let names: Vec<&str> = names.collect();
    match names.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
        None => String::new(),
    }
}

fn capitalised(text: &str) -> String {
    let mut characters = text.chars();
    match characters.next() {
        Some(first) => first.to_uppercase().chain(characters).collect(),
        None => String::new(),
    }
}

fn uncapitalised(text: &str) -> String {
    let mut characters = text.chars();
    match characters.next() {
        Some(first) => first.to_lowercase().chain(characters).collect(),
        None => String::new(),
    }
}
