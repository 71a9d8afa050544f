//! What public feeds have really done wrong, one by one, each on a small file of invented stations:
//! it is survived, refused with a reason, or reported. The numbers are those of the list in the
//! header of each test. Files that shrink or go back, frozen ids and unit steps have a file of tests
//! of their own.

#[path = "../support/command.rs"]
mod command;
#[path = "../support/feeds.rs"]
mod feeds;
#[path = "../support/http_server.rs"]
mod http_server;

mod bodies;
mod days;
mod revisions;
mod services;

use hatchbell::feed::dialect::Binding;
use hatchbell::feed::parse::Parsed;

const TODAY: &str = "2026-07-10";

/// A file that must be taken.
fn taken(text: &str, binding: &Binding) -> Parsed {
    feeds::take(text.as_bytes(), binding, TODAY).expect("this file must be taken")
}

/// The message of a file that must be refused as a whole.
fn refusal(text: &str, binding: &Binding) -> String {
    feeds::take(text.as_bytes(), binding, TODAY)
        .expect_err("this file must be refused")
        .to_string()
}

/// Minimum and maximum of a day.
fn pair(parsed: &Parsed, day: &str) -> (Option<f64>, Option<f64>) {
    parsed
        .readings
        .get(&feeds::date(day))
        .map_or((None, None), |reading| (reading.min, reading.max))
}

fn says(message: &str, words: &[&str]) {
    for word in words {
        assert!(message.contains(word), "{message:?} does not say {word:?}");
    }
}
