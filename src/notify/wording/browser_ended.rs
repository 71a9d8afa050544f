//! What somebody reads whose browser takes notices no more.

use super::block::TITLE_CHARS;
use super::block::cut;
use super::{Message, wrapped};
use crate::domain::place::site::Channel;

/// A browser that takes notices no more, and whose it was.
#[derive(Debug, Clone, Copy)]
pub struct BrowserEnded<'a> {
    /// The service's name.
    pub service: &'a str,
    /// The owner's name.
    pub name: &'a str,
    /// What they call the browser.
    pub browser: &'a str,
    /// Where the page is, if that is known.
    pub page: Option<&'a str>,
    /// Whom they answer to.
    pub answer_to: &'a str,
}

/// Says it once, by one of the other channels.
pub fn browser_ended_message(channel: Channel, of: &BrowserEnded<'_>) -> Message {
    let title = cut("Notices in a browser have ended", TITLE_CHARS);
    let what = format!("\"{}\" takes notices no more.", of.browser);
    let where_at = of
        .page
        .map_or(String::new(), |page| format!(": {page}notices"));
    let again = format!("If you still want them there, turn them on again{where_at}");
    let body = if channel.is_brief() {
        format!("{what} {again}")
    } else {
        let foot = format!(
            "For {}, from hatchbell at {}. Questions to {}.",
            of.name, of.service, of.answer_to
        );
        [
            wrapped(&what, "", ""),
            wrapped(&again, "", ""),
            wrapped(&foot, "", ""),
        ]
        .join("\n\n")
    };
    Message { title, body }
}
