//! What stands beside the links of a mail.

use crate::domain::notation::Notation;
use chrono::NaiveDate;

/// What a click on the link that stops mail does.
pub const STOP_WORDS: &str = "Stop mail that is not urgent";

/// What the links to sites are, and the last day on which they work.
pub fn links_heading(until: NaiveDate, notation: &Notation) -> String {
    format!("To the plan, until {}:", notation.day(until))
}

/// Where the sites are that have no link of their own.
pub fn more_sites(count: usize, page: &str) -> String {
    format!("{count} more are at {page}")
}
