//! What stands beside the links of a mail.

use crate::domain::notation::Notation;
use chrono::NaiveDate;

/// What a click on the link that stops mail does.
pub const STOP_WORDS: &str = "Stop mail that is not urgent";

/// What the links to sites are, and the last day on which they work.
pub fn links_heading(until: NaiveDate, notation: &Notation) -> String {
    format!("To the plan, until {}:", notation.day(until))
}

/// What one link for all sites of a message leads to.
pub fn all_sites(count: usize) -> String {
    format!("All {count} sites of this message, worst first")
}

/// What one link for all sites shows, and to whom.
pub const ALL_SITES_NOTE: &str =
    "It shows these sites and no others, to whoever has it, without signing in.";

/// What stands below a picture: what it is of, and of how many sites it is the first.
pub fn picture_caption(title: &str, sites: usize) -> String {
    match sites {
        0 | 1 => format!("{title}."),
        2 => format!("{title}. The first of the two sites of this message."),
        many => format!("{title}. The first of the {many} sites of this message."),
    }
}
