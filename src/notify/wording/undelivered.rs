//! What whoever runs hatchbell reads about recipients who cannot be reached.

use super::block::{PUSH_CHARS, TITLE_CHARS, cut};
use super::{Message, wrapped};
use crate::domain::place::site::Channel;
use chrono::{DateTime, Utc};

/// Somebody whose messages wait.
#[derive(Debug, Clone, Copy)]
pub struct Undelivered<'a> {
    /// Their name.
    pub name: &'a str,
    /// The way that fails.
    pub channel: Channel,
    /// Messages that wait.
    pub messages: u32,
    /// Since when the oldest waits.
    pub since: DateTime<Utc>,
    /// What the last attempt ran into.
    pub why: &'a str,
}

/// Words the news for the operator, by one of their channels.
pub fn undelivered_message(
    service: &str,
    operator: &str,
    channel: Channel,
    of: &Undelivered<'_>,
) -> Message {
    let by = of.channel.name();
    let title = cut(
        &format!("{} cannot be reached by {by}", of.name),
        TITLE_CHARS,
    );
    let since = of.since.format("%-d %B %Y, %H:%M UTC");
    let waits = match of.messages {
        1 => format!("1 message waits since {since}."),
        several => format!("{several} messages wait, the first since {since}."),
    };
    let body = if channel.is_brief() {
        cut(&format!("{title}. {waits} {}", of.why), PUSH_CHARS)
    } else {
        [
            format!("{waits} They are tried for 14 days."),
            format!("The last attempt: {}.", of.why.trim_end_matches('.')),
            "To do: mend it or tell them by other means. hatchbell outbox lists what waits, \
             hatchbell outbox retry --all tries at once."
                .to_owned(),
            format!("For {operator}, who runs hatchbell at {service}."),
        ]
        .map(|paragraph| wrapped(&paragraph, "", ""))
        .join("\n\n")
    };
    Message { title, body }
}
