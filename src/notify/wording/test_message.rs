//! What a recipient reads of a test of how they are reached.

use super::block::{PUSH_CHARS, TITLE_CHARS, cut};
use super::{Message, wrapped};
use crate::domain::place::site::Channel;

/// Sites that are named; more are counted.
const NAMED_SITES: usize = 5;

/// Whom a test goes to, and what they would be told of.
#[derive(Debug, Clone, Copy)]
pub struct TestOf<'a> {
    /// The service's name.
    pub service: &'a str,
    /// Their name.
    pub name: &'a str,
    /// The name of the member whose they are.
    pub member: &'a str,
    /// The names of their sites.
    pub sites: &'a [&'a str],
    /// Whom they answer to.
    pub answer_to: &'a str,
}

/// Words a test, for one of a recipient's channels.
pub fn test_message(channel: Channel, of: &TestOf<'_>) -> Message {
    let title = cut(
        &format!("Test from {}: nothing to do", of.service),
        TITLE_CHARS,
    );
    let named = of.sites[..of.sites.len().min(NAMED_SITES)].join("; ");
    let more = match of.sites.len().saturating_sub(NAMED_SITES) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let reaches = "This is a test: messages reach you this way. Nothing to do.";
    let about = format!("You are told of {} ({}{more}).", of.member, named);
    let body = if channel.is_brief() {
        cut(&format!("{reaches} {about}"), PUSH_CHARS)
    } else {
        let foot = format!(
            "For {}, from hatchbell at {}. Questions to {}.",
            of.name, of.service, of.answer_to
        );
        [reaches.to_owned(), about, foot]
            .map(|paragraph| wrapped(&paragraph, "", ""))
            .join("\n\n")
    };
    Message { title, body }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn test(channel: Channel, sites: &[&str]) -> Message {
        let of = TestOf {
            service: "Three Brooks Turf Co-op",
            name: "Ada",
            member: "Mill Lane Garden",
            sites,
            answer_to: "the desk",
        };
        test_message(channel, &of)
    }

    #[test]
    fn a_test_says_that_it_is_one_and_whose_sites_it_would_be_about() {
        let message = test(Channel::Email, &["Front lawn", "Orchard"]);
        assert_eq!(
            message.title,
            "Test from Three Brooks Turf Co-op: nothing to do"
        );
        let first = message.body.lines().next();
        assert_eq!(
            first,
            Some("This is a test: messages reach you this way. Nothing to do.")
        );
        let about = "You are told of Mill Lane Garden (Front lawn; Orchard).";
        assert!(message.body.contains(about), "{}", message.body);
    }

    #[test]
    fn many_sites_are_counted_and_a_push_stays_short() {
        let sites = ["The long pitch beside the river"; 40];
        let message = test(Channel::Email, &sites);
        assert!(
            message.body.replace('\n', " ").contains("and 35 more"),
            "{}",
            message.body
        );
        let push = test(Channel::Push, &sites).body;
        assert!(push.chars().count() <= PUSH_CHARS, "{push}");
    }
}
