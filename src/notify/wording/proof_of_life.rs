//! What whoever runs hatchbell reads once a week if they want to: that it lives, and how it is.

use super::block::{PUSH_CHARS, TITLE_CHARS, cut};
use super::{Message, wrapped};
use crate::domain::place::site::Channel;
use chrono::{DateTime, Utc};

/// How the service is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Health {
    /// Since when nothing has been wrong; none if something is.
    pub since: Option<DateTime<Utc>>,
    /// Stations that are read.
    pub stations: usize,
    /// Those of them whose days arrive.
    pub fresh: usize,
    /// Messages that wait.
    pub waiting: u32,
}

/// Words the proof of life for the operator, by one of their channels.
pub fn proof_of_life(service: &str, operator: &str, channel: Channel, health: &Health) -> Message {
    let Health {
        since,
        stations,
        fresh,
        waiting,
    } = *health;
    let stations = match (fresh == stations, stations) {
        (true, 1) => "1 station fresh".to_owned(),
        (true, _) => format!("{stations} stations fresh"),
        (false, _) => format!("{fresh} of {stations} stations fresh"),
    };
    let waiting = match waiting {
        1 => "1 message waiting".to_owned(),
        several => format!("{several} messages waiting"),
    };
    let title = match since {
        Some(since) => format!("All is well: healthy since {}", since.format("%-d %B %Y")),
        None => "Not all is well: see hatchbell status --problems".to_owned(),
    };
    let state = format!("{stations}, {waiting}.");
    let title = cut(&title, TITLE_CHARS);
    let body = match channel {
        Channel::Push | Channel::WebPush => cut(&format!("{title}. {state}"), PUSH_CHARS),
        _ => [
            format!("{title}, {state}"),
            "Once a week; if it does not come, see whether the machine and hatchbell run."
                .to_owned(),
            format!("For {operator}, who runs hatchbell at {service}."),
        ]
        .map(|paragraph| wrapped(&paragraph, "", ""))
        .join("\n\n"),
    };
    Message { title, body }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_proof_of_life_says_since_when_all_is_well_and_what_is_fresh_and_waits() {
        let mut health = Health {
            since: Some("2026-05-03T05:20:00Z".parse().unwrap()),
            stations: 5,
            fresh: 5,
            waiting: 1,
        };
        let said = proof_of_life("Mill Lane", "Ada", Channel::Push, &health);
        assert_eq!(said.title, "All is well: healthy since 3 May 2026");
        assert_eq!(
            said.body,
            "All is well: healthy since 3 May 2026. 5 stations fresh, 1 message waiting."
        );
        health.since = None;
        health.fresh = 4;
        health.waiting = 2;
        let said = proof_of_life("Mill Lane", "Ada", Channel::Email, &health);
        assert!(said.title.starts_with("Not all is well"), "{}", said.title);
        let first = said.body.split("\n\n").next().unwrap().replace('\n', " ");
        assert!(
            first.ends_with("4 of 5 stations fresh, 2 messages waiting."),
            "{first}"
        );
    }
}
